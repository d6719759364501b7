"""The drawn curve reaches as far as the formula goes."""

from decimal import Decimal

import pytest

from app.store.engine import Store
from app.work.paper_formula import PaperRequest, formula_asked
from app.work.ph.report import titration

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
