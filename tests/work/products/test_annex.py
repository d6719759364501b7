"""What a dossier lacks by each heading of Annex I part A, and the figures of its parts, one thing changed at a time."""

from dataclasses import replace
from datetime import date
from decimal import Decimal as D
from types import SimpleNamespace
from typing import Any

import pytest

from app.science.composition import DosedMaterial, Part, PartKind, expand
from app.science.preservation import Preserved
from app.science.specification import Check
from app.store.batches import BatchReading
from app.store.packing import PackingRun, RetainedSample, SampleLook
from app.store.stock import DocumentKind
from app.work.batches.record import CheckRecord
from app.work.packing.samples import SampleRow, _look_on, units_left, usual_sample
from app.work.products.annex import NAMED, headings
from app.work.products.dossier import Dossier, SubstanceRow, SuppliedMaterial, _materials

NONE = SimpleNamespace


def row(name: str, parts: tuple[Part, ...] = (Part("Oil", D(100)),), **more: Any) -> SuppliedMaterial:
    line = NONE(name=name, parts=parts)
    return SuppliedMaterial("A", line, more.get("suppliers", ("Shop",)), D(more.get("unnamed", 0)))  # type: ignore[arg-type]


def substance(name: str, cas: str = "1-1-1", functions: tuple[str, ...] = ("emollient",)) -> SubstanceRow:
    (total,) = expand([DosedMaterial("jar", D(1), (Part(name, D(100)),))])
    return SubstanceRow(total, cas, functions)


def document(kind: DocumentKind, *about: str) -> Any:
    return NONE(document=NONE(kind=kind), about=about)


SPECIFIED, SHEET = document(DocumentKind.SPECIFICATION, "Oil"), document(DocumentKind.DATA_SHEET, "Oil")
CERTIFIED, TESTED = document(DocumentKind.CERTIFICATE, "lot 1"), document(DocumentKind.TEST, "Cream")
CHECK = Check("pH", D(5), D(6))


def whole(**changed: Any) -> Dossier:
    """A dossier in which nothing is missing that can be there, but for what is changed."""
    product = NONE(shelf_months=30, open_months=12, front_words="Cream", claims="")
    given: dict[str, Any] = {
        "product": product, "formula": NONE(checks=(CHECK,), packaging=("jar",), product_type="cream", product_kind=""),
        "substances": (substance("Oil"),), "materials": (row("Oil"),), "seen": (NONE(),), "unsheeted": {},
        "batches": (NONE(results=(CheckRecord(CHECK, BatchReading(value=D(5))),)),),
        "documents": (SPECIFIED, SHEET, CERTIFIED, TESTED), "complaints": NONE(cases=()),
        "ph": NONE(preservation=NONE(status=Preserved.PRESERVED)),
    } | changed  # fmt: skip
    found = Dossier.__new__(Dossier)
    for name, value in given.items():
        object.__setattr__(found, name, value)
    return found


ALWAYS = {1: 1, 4: 2, 6: 1, 7: 1, 8: 1, 10: 1}  # what no table here holds, by heading


def test_what_can_be_there_is_not_missing_where_it_is() -> None:
    found = headings(whole())
    assert [one.number for one in found] == list(range(1, 11))
    assert {one.number: len(one.missing) for one in found if one.missing} == ALWAYS


def product(**changed: Any) -> dict[str, Any]:
    return {"product": NONE(**{"shelf_months": 30, "open_months": 12, "front_words": "Cream", "claims": ""} | changed)}


def formula(**changed: Any) -> dict[str, Any]:
    usual = {"checks": (CHECK,), "packaging": ("jar",), "product_type": "cream", "product_kind": ""}
    return {"formula": NONE(**usual | changed)}


PERFUME = (Part("Parfum", D(100), PartKind.PERFUME),)
OTHERS = (SPECIFIED, SHEET, CERTIFIED)
LACKING: dict[str, tuple[dict[str, Any], int, str]] = {
    "a material without parts": ({"materials": (row("Oil", ()),)}, 1, "Composition of Oil."),
    "a material not all of which is named": ({"materials": (row("Oil", unnamed="0.1"),)}, 1, "of Oil: less than 100 %"),
    "a substance without a number": ({"substances": (substance("Oil", ""),)}, 1, "CAS numbers of Oil."),
    "one without a function": ({"substances": (substance("Oil", functions=()),)}, 1, "Functions of Oil."),
    "a perfume of nobody": (
        {"materials": (row("Oil", PERFUME, suppliers=()),)}, 1, "Supplier and code of the perfume: Oil.",
    ),
    "no specification": (formula(checks=()), 2, "A specification of the product"),
    "no batch": ({"batches": ()}, 2, "none was made yet"),
    "no reading": ({"batches": (NONE(results=(CheckRecord(CHECK, None),)),)}, 2, "readings of pH."),
    "no specification of a material": ({"documents": (SHEET, CERTIFIED, TESTED)}, 2, "of the materials: Oil."),
    "no durability": (product(shelf_months=None, open_months=None), 2, "How long the product keeps"),
    "nothing seen of a sample, and no test": ({"seen": (), "documents": OTHERS}, 2, "Stability results"),
    "no challenge test": ({"documents": OTHERS}, 3, "A challenge test"),
    "not preserved": (
        {"ph": NONE(preservation=NONE(status=Preserved.PARTLY))}, 3, "Preservation: partly preserved, as far as",
    ),
    "no water, and no test": ({"ph": None, "documents": OTHERS}, 3, "The reasons for no water to preserve"),
    "low risk, and no test": (
        {"ph": NONE(preservation=NONE(status=Preserved.LOW_RISK)), "documents": OTHERS}, 3, "The reasons for low risk",
    ),
    "no certificate": ({"documents": (SPECIFIED, SHEET, TESTED)}, 4, "Certificates of analysis of lots used: none"),
    "no data sheet": ({"documents": (SPECIFIED, CERTIFIED, TESTED)}, 4, "Safety data sheets: Oil."),
    "no packaging": (formula(packaging=()), 4, "The packaging of the product: none is chosen."),
    "no kind": (formula(product_type=""), 5, "The kind of product."),
    "no words": (product(front_words=""), 5, "The words on the label."),
    "no allergen sheet": ({"unsheeted": {"perfume": ("Parfum",)}}, 8, "Allergen sheets: Parfum (perfume)."),
    "a case open": (
        {"complaints": NONE(cases=(NONE(number="C-1", closed_at=None), NONE(number="C-2", closed_at=1)))}, 9,
        "The end of C-1: still open.",
    ),
    "claims, and no test": ({**product(front_words="", claims="It lasts"), "documents": OTHERS}, 10, "for the claims"),
    "words, and no test": ({"documents": OTHERS}, 10, "Evidence for the claims"),
}  # fmt: skip


@pytest.mark.parametrize(("changed", "number", "words"), LACKING.values(), ids=LACKING)
def test_what_is_lacking_is_named_at_its_heading(changed: dict[str, Any], number: int, words: str) -> None:
    before, after = headings(whole())[number - 1].missing, headings(whole(**changed))[number - 1].missing
    (said,) = (one for one in after if one not in before)
    assert words in said


ENOUGH = {
    "months after opening alone": (product(shelf_months=None), 2),
    "months from making alone": (product(open_months=None), 2),
    "a perfume that is bought": ({"materials": (row("Oil", PERFUME),)}, 1),
    "a test, though nothing was seen of a sample": ({"seen": ()}, 2),
    "a sample seen, though no test": ({"documents": OTHERS}, 2),
    "no water, with a test": ({"ph": None}, 3),
    "a kind from the list": (formula(product_type="", product_kind="cream"), 5),
    "claims instead of words": (product(front_words="", claims="It lasts"), 5),
    "neither words nor claims to prove": ({**product(front_words="", claims=""), "documents": OTHERS}, 10),
}


@pytest.mark.parametrize(("changed", "number"), ENOUGH.values(), ids=ENOUGH)
def test_what_is_enough_is_not_asked_for(changed: dict[str, Any], number: int) -> None:
    assert headings(whole(**changed))[number - 1].missing == headings(whole())[number - 1].missing


@pytest.mark.parametrize(("count", "more"), [(NAMED, ""), (NAMED + 1, " and 1 more"), (NAMED + 3, " and 3 more")])
def test_six_names_are_written_out_and_the_rest_counted(count: int, more: str) -> None:
    rows = tuple(row(f"M{n}", ()) for n in range(count))
    said = headings(whole(materials=(*rows, *rows)))[0].missing[0]  # each once
    assert said == f"Composition of {', '.join(f'M{n}' for n in range(NAMED))}{more}."


def test_what_is_not_named_of_a_material_is_what_its_parts_leave() -> None:
    def material(number: int, *percents: str) -> Any:
        return NONE(parts=tuple(Part("x", D(p)) for p in percents), material=NONE(id=number))

    lines = (material(1, "60", "39.5"), material(2, "100"), material(3, "60", "41"))
    found = list(_materials(NONE(phases=(NONE(letter="A", lines=lines),)), {1: ("Shop",)}))  # type: ignore[arg-type]
    assert [(one.unnamed, one.suppliers, one.phase) for one in found] == [
        (D("0.5"), ("Shop",), "A"), (0, (), "A"), (0, (), "A"),
    ]  # fmt: skip
    flavour = replace(row("x"), line=NONE(parts=(Part("Aroma", D(1), PartKind.FLAVOUR),)))  # type: ignore[arg-type]
    assert [one.is_perfume for one in (row("x", PERFUME), flavour, row("x"))] == [True, True, False]
    readings = (None, BatchReading(value=D(6)), BatchReading(value=D(7)))
    assert [CheckRecord(CHECK, one).is_inside for one in readings] == [False, True, False]


# Retained samples


def sample(months: int | None = 6, units: int = 2, *looks: tuple[str, int], **more: Any) -> RetainedSample:
    seen = [SampleLook(looked_on=date.fromisoformat(day), units_used=used) for day, used in looks]
    given = {"kept_on": date(2026, 1, 31), "discarded_on": None, "keep_until": date(2027, 1, 31)} | more
    return RetainedSample(units=units, look_months=months, looks=seen, **given)


@pytest.mark.parametrize(
    ("one", "left", "next_look"),
    [
        (sample(), 2, date(2026, 7, 31)),
        (sample(None), 2, None),
        (sample(1), 2, date(2026, 2, 28)),
        (sample(6, 2, ("2026-03-01", 1)), 1, date(2026, 9, 1)),
        (sample(6, 2, ("2026-05-01", 1), ("2026-03-01", 0)), 1, date(2026, 11, 1)),
        (sample(6, 2, ("2026-03-01", 1), ("2026-04-01", 1)), 0, None),
        (sample(discarded_on=date(2026, 2, 1)), 0, None),
    ],
)
def test_a_sample_is_looked_at_so_many_months_after_it_was_last_seen(
    one: RetainedSample, left: int, next_look: date | None
) -> None:
    assert (units_left(one), _look_on(one)) == (left, next_look)


@pytest.mark.parametrize(
    ("today", "look_on", "over", "due"),
    [
        (date(2026, 7, 31), date(2026, 7, 31), False, True), (date(2026, 7, 30), date(2026, 7, 31), False, False),
        (date(2027, 1, 31), date(2026, 7, 31), False, True), (date(2027, 2, 1), date(2026, 7, 31), True, False),
        (date(2026, 7, 31), None, False, False),
    ],
)  # fmt: skip
def test_a_sample_is_due_until_it_need_not_be_kept(today: date, look_on: date | None, over: bool, due: bool) -> None:
    found = SampleRow(sample(look_on=look_on), PackingRun(), 2, today)
    assert (found.is_over, found.is_due) == (over, due)


def test_a_sample_is_usually_kept_a_year_longer_than_the_printed_date() -> None:
    """Common practice; without a date 24 months of use and 12 more from packing."""
    dated = PackingRun(best_before=date(2028, 5, 31), packed_on=date(2026, 1, 1))
    assert usual_sample(dated).text["keep_until"] == "2029-05-31"
    bare = usual_sample(PackingRun(best_before=None, packed_on=date(2026, 1, 1))).text
    assert (bare["keep_until"], bare["units"], bare["look_months"]) == ("2029-01-01", "2", "6")
