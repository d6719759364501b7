"""A formula of forty lines against every rule: under ten milliseconds."""

from decimal import Decimal

import pytest

from app.reference.library import substances
from app.reference.rulebook import rulebook
from app.science.composition import AllergenShare, DosedMaterial, Part
from app.science.rules.check import check_formula
from app.science.rules.values import Exposure, FormulaFacts

LARGEST_MS = 10


@pytest.fixture
def forty_lines():
    names = list(dict.fromkeys(["AQUA", "PARFUM", "PHENOXYETHANOL", "SODIUM BENZOATE", *list(substances())[::9]]))[:40]
    sheet = tuple(AllergenShare(n, Decimal("0.5")) for n in ("Linalool", "Limonene", "Citral", "Geraniol", "Eugenol"))
    return tuple(
        DosedMaterial(n, Decimal("2.5"), (Part(n, Decimal(100), allergens=sheet if n == "PARFUM" else ()),))
        for n in names
    )


@pytest.mark.parametrize("jurisdiction", ["EU", "US"])
def test_forty_lines_against_all_rules(benchmark, forty_lines, jurisdiction):
    formula = FormulaFacts(forty_lines, Exposure.LEAVE_ON, Decimal("5.5"))
    book = rulebook(jurisdiction)
    verdict = benchmark(check_formula, formula, book)
    assert len(formula.materials) == 40
    assert verdict.findings
    assert benchmark.stats["median"] * 1000 < LARGEST_MS
