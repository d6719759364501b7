"""The drawn curve reaches as far as the formula goes."""

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from app.science.acid_base.values import Range
from app.store.engine import Store
from app.work.paper_formula import PaperRequest, formula_asked
from app.work.ph.report import PhReport, titration

# Figures, which no database can change.
pytestmark = pytest.mark.sqlite


@pytest.mark.parametrize("formula", [1, 2, 3, 4])
def test_what_the_formula_has_of_the_adjuster_lies_on_the_curve(demo: Store, formula: int) -> None:
    with demo.reading() as session:
        found = formula_asked(session, PaperRequest(formula))
    for target in ("4", "5.5", "7"):
        drawn = titration(found.dosed, Decimal(target), 500.0)
        assert drawn is not None
        assert drawn.in_formula <= drawn.advice.curve[-1].grams


@pytest.mark.parametrize(("target", "off"), [("5.0", 0.0), ("5.4", 0.0), ("5.9", 0.5), ("4.2", 0.3), (None, None)])
def test_a_target_is_off_by_how_far_it_lies_outside_the_range(target: str | None, off: float | None) -> None:
    predicted: Any = SimpleNamespace(ph=Range(5.0, 4.5, 5.4))
    none: Any = None
    wanted = None if target is None else Decimal(target)
    found = PhReport(wanted, predicted, "", (), (), none, None, ())
    assert found.off_target == (None if off is None else pytest.approx(off))
