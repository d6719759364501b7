"""A published recipe opened from a file, without a network: it scales as the workshop weighs."""

import json
import random
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from app.commands.compute import answer
from app.documents.recipes import recipe_page
from app.science.batch_size import BatchSize
from app.science.composition import Part
from app.science.formula import Formula, Line, Material, Phase
from app.work.recipe import recipe

PERCENTS = ["12.345", "0.005", "5", "0.9", "3.333", "78.417"]
STEPS = ["1", "0.1", "0.01", "0.001"]


def formula() -> Formula:
    lines = tuple(
        Line(str(n), Material(n + 1, f"M{n}", (Part(f"M{n}", Decimal(100)),), Decimal("0.95")), Decimal(p), n == 5)
        for n, p in enumerate(PERCENTS)
    )
    return Formula("Cream", (Phase("A", "All", Decimal(75), ("Stir.",), lines),), size=BatchSize(Decimal(250)))


def weighed(net: str, step: str, loss: str, filling: int | None) -> list[Decimal]:
    """Ask compute weigh the same."""
    lines = [
        {"id": str(n), "qs": True} if n == filling else {"id": str(n), "percent": p} for n, p in enumerate(PERCENTS)
    ]
    request = {"lines": lines, "batch_g": net, "loss_percent": loss, "scales": [{"readability_g": step}]}
    return [Decimal(str(line["shown_g"])) for line in json.loads(answer("weigh", json.dumps(request)))["lines"]]


def sizes(count: int) -> list[tuple[str, str, str, int | None]]:
    draw = random.Random(5)  # noqa: S311 - sizes to try, not a secret
    return [
        (
            f"{Decimal(draw.randint(1, 5_000_000)).scaleb(-draw.choice([0, 1, 2, 3])):f}",
            draw.choice(STEPS),
            draw.choice(["0", "3", "2.75"]),
            draw.choice([5, None]),
        )
        for _ in range(count)
    ]


@pytest.mark.browser
def test_a_published_recipe_scales_as_the_workshop_weighs(chromium: Browser, tmp_path: Path) -> None:
    place = tmp_path / "recipe.html"
    place.write_text(recipe_page(recipe(formula())), encoding="utf-8")
    page = chromium.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(place.as_uri())
    cases = sizes(400)
    call = "all => all.map(([p, f, l, n, s]) => window.weighRecipe(p, f, l, n, s))"
    found = page.evaluate(call, [[PERCENTS, filling, loss, net, step] for net, step, loss, filling in cases])
    for case, texts in zip(cases, found, strict=True):
        assert [Decimal(text) for text in texts] == weighed(*case), case
    page.fill("#amount", "2,5")
    page.select_option("#unit", "lb")
    shown = [Decimal(text) for text in page.locator(".grams:not(th)").all_inner_texts()]
    assert shown == weighed(str(Decimal("2.5") * Decimal("453.59237")), "0.1", "0", 5)
    assert page.locator("td.ounces").first.is_visible()
    page.fill("#amount", "much")
    assert page.locator("#amount-fault").is_visible()
    assert [Decimal(text) for text in page.locator(".grams:not(th)").all_inner_texts()] == shown
    assert asked == [place.as_uri()]
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_published_recipe_has_no_barriers(chromium: Browser, tmp_path: Path, scheme: str) -> None:
    place = tmp_path / "recipe.html"
    place.write_text(recipe_page(replace(recipe(formula()), words="My own words.")), encoding="utf-8")
    page = chromium.new_page(viewport={"width": 360, "height": 800}, color_scheme=scheme, bypass_csp=True)
    page.goto(place.as_uri())
    found = Axe().run(page).response["violations"]
    assert [(one["id"], one["impact"]) for one in found if one["impact"] in ("serious", "critical")] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    page.close()
