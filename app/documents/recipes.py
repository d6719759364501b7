"""A recipe as a page that stands alone, as Markdown and plain text, and as a card for the wall."""

import json
from base64 import b64encode
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import ceil
from pathlib import Path

from app.documents.paper import environment, file_name
from app.documents.papers import PageSetup, PdfFile, laid_out
from app.documents.render import to_pdf
from app.documents.type_metrics import text_width
from app.science.numbers import plain
from app.work.pictures import fitted
from app.work.recipe import Recipe, RecipePhase
from app.work.recipe_notes import KeptPicture

STATIC = Path(__file__).resolve().parents[2] / "static"
LARGEST_BYTES = 200_000
SPARE_BYTES = 2_000
PICTURE_TAG_BYTES = 600  # what stands around a picture on a page
CARD_PICTURE_BYTES = 120_000


@cache
def _kept(name: str) -> str:
    return (STATIC / name).read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class ShownPicture:
    """A picture in its page: its address with the content in it, its size and what is to be seen on it."""

    address: str
    width: int
    height: int
    alt: str


def shown_pictures(pictures: Sequence[KeptPicture], most_bytes: int) -> tuple[ShownPicture, ...]:
    """Return pictures made small enough that all of them together take so many bytes of a page."""
    if not pictures:
        return ()
    each = max(most_bytes // len(pictures) - PICTURE_TAG_BYTES, 0) * 3 // 4  # base64 takes four letters for three
    shown = []
    for kept in pictures:
        small = fitted(kept.content, each)
        address = "data:image/jpeg;base64," + b64encode(small.content).decode("ascii")
        shown.append(ShownPicture(address, small.width, small.height, kept.alt))
    return tuple(shown)


def recipe_page(recipe: Recipe, pictures: Sequence[KeptPicture] = ()) -> str:
    """Return the recipe as one HTML file that asks nothing of any network, with the pictures made to fit."""
    bare = _page(recipe, ())
    return (
        _page(recipe, shown_pictures(pictures, LARGEST_BYTES - SPARE_BYTES - len(bare.encode()))) if pictures else bare
    )


def _page(recipe: Recipe, pictures: Sequence[ShownPicture]) -> str:
    return environment().get_template("recipes/publish.html").render(
        recipe=recipe, pictures=pictures, style=_kept("css/recipe_page.css"), script=_kept("js/recipe_page.js"),
        data=_script_safe(json.dumps(scaling_data(recipe))), how_to=_script_safe(json.dumps(how_to(recipe))),
    )  # fmt: skip


def scaling_data(recipe: Recipe) -> dict[str, object]:
    """Return what the page needs to scale itself: exact decimals as text."""
    filling = next((place for place, line in enumerate(recipe.lines) if line.is_remainder), None)
    return {
        "percents": [plain(line.percent) for line in recipe.lines],
        "densities": [None if line.density_g_ml is None else float(line.density_g_ml) for line in recipe.lines],
        "filling": filling,
        "loss": plain(recipe.formula.loss_percent),
    }


def how_to(recipe: Recipe) -> dict[str, object]:
    """Return the recipe in the words of schema.org: a HowTo with supplies and steps."""
    steps = [
        {"@type": "HowToStep", "name": f"Phase {phase.letter}", "text": step}
        for phase in recipe.phases
        for step in (*phase.cautions, *phase.steps)
    ]
    return {
        "@context": "https://schema.org",
        "@type": "HowTo",
        "name": recipe.formula.name,
        **({"description": recipe.words} if recipe.words else {}),
        "yield": f"{plain(recipe.net_g)} g",
        "supply": [
            {
                "@type": "HowToSupply",
                "name": line.name,
                "requiredQuantity": {"@type": "QuantitativeValue", "value": float(line.grams), "unitCode": "GRM"},
            }
            for line in recipe.lines
        ],
        "tool": [{"@type": "HowToTool", "name": name} for name in recipe.equipment],
        "step": steps,
    }


def _script_safe(text: str) -> str:
    """Write JSON so that no text in it can end the script it stands in."""
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026").replace("\u2028", "\\u2028")


def recipe_markdown(recipe: Recipe) -> str:
    """Return the recipe as Markdown."""
    return _filled_template("recipes/recipe.md", recipe)


def recipe_text(recipe: Recipe) -> str:
    """Return the recipe as plain text, to be pasted under a picture or a film."""
    return _filled_template("recipes/recipe.txt", recipe)


def _filled_template(template: str, recipe: Recipe) -> str:
    made = environment().overlay(autoescape=False)
    return made.get_template(template).render(recipe=recipe).strip() + "\n"


# Sizes of type for a card, points; the smallest still has an x-height of 1.2 mm.
CARD_SIZES_PT = (8.4, 8.0, 7.6, 7.2, 6.8, 6.5)
POINT_MM = 0.3528
CARD_MM = {"A4": (148.0, 210.0), "Letter": (139.7, 215.9)}
CARD_LINE = 1.25
CARD_NAME = 0.6  # of the width of a card, for the names
CARD_SLACK_MM = 3.0
CARD_PICTURE_MM = 14.0  # beside the title, and higher than it by so much


@dataclass(frozen=True, slots=True)
class CardFit:
    """How a card becomes one page: the size of its type in points, the recipe as far as it fits, and its picture."""

    type_pt: float
    recipe: Recipe
    pictured: bool


def fit_card(recipe: Recipe, paper: str, pictured: bool = False) -> CardFit:
    """Return the largest type at which a card is one page as far as can be reckoned.

    Where even the smallest does not do, the picture, the substitutes, the maker's words and the equipment are left to
    the page, in this order; weights, steps and cautions never.
    """
    width, height = CARD_MM[paper]
    room = height - 16.0 - CARD_SLACK_MM
    bare = replace(recipe, substitutes=())
    silent = replace(bare, words="")
    tries = [
        (recipe, pictured),
        (recipe, False),
        (bare, False),
        (silent, False),
        (replace(silent, equipment=()), False),
    ]
    for tried, shown in tries:
        for pt in CARD_SIZES_PT:
            if _card_height(tried, pt, width - 16.0) + (CARD_PICTURE_MM if shown else 0.0) <= room:
                return CardFit(pt, tried, shown)
    return CardFit(CARD_SIZES_PT[-1], *tries[-1])


def _card_height(recipe: Recipe, pt: float, width: float) -> float:
    line = pt * POINT_MM * CARD_LINE

    def lines(text: str, share: float = 1.0) -> int:
        return max(ceil(1.04 * text_width(text) * pt * POINT_MM * share / (width - 4.0)), 1)

    height = 15 * POINT_MM * 1.15 + 2 * line
    for phase, cautions in card_phases(recipe):
        height += 2.8 + 9.5 * POINT_MM * 1.2
        height += sum(lines(f"Caution. {words}") * line + 0.8 for words in cautions)
        height += line * 1.06 + 0.8 if phase.lines else 0.0
        height += sum(lines(one.name, 1 / CARD_NAME) * line * 1.06 + 0.8 for one in phase.lines)
        height += 0.6 + sum(lines(step) * line for step in phase.steps)
    needed = f"You need: {'; '.join(recipe.equipment)}." if recipe.equipment else ""
    instead = (f"Instead of {words}" for words in recipe.substitutes)
    said = (needed, *instead, *recipe.words.splitlines(), *recipe.cautions)
    return height + 1.5 * line + sum(lines(words, 0.86) * line * 0.86 + 0.8 for words in said if words)


def card_phases(recipe: Recipe) -> list[tuple[RecipePhase, tuple[str, ...]]]:
    """Return the phases with the cautions that no phase before them has said already."""
    said: set[str] = set()
    found = []
    for phase in recipe.phases:
        found.append((phase, tuple(words for words in phase.cautions if words not in said)))
        said.update(phase.cautions)
    return found


def method_card(recipe: Recipe, setting: PageSetup, pictures: Sequence[KeptPicture] = ()) -> PdfFile:
    """Return the recipe as a card, A5 or half Letter, with the first of its pictures.

    Raises:
        PaperFault: when it cannot be laid out.
    """
    fit = fit_card(recipe, setting.paper or setting.workshop.paper.value, bool(pictures))
    html = laid_out(
        "recipes/card_pdf.html", setting, recipe=fit.recipe, phases=card_phases(fit.recipe), type_pt=fit.type_pt,
        pictures=shown_pictures(pictures[:1] if fit.pictured else (), CARD_PICTURE_BYTES),
    )  # fmt: skip
    return PdfFile(file_name("method-card", recipe.formula.code, recipe.formula.name), to_pdf(html))
