from collections.abc import Callable
from decimal import Decimal

import pytest

from app.reference.rulebook import rulebook
from app.science.composition import DosedMaterial, Part
from app.science.rules.check import check_formula
from app.science.rules.values import Exposure, FormulaFacts, Verdict

Ask = Callable[..., Verdict]


def materials(parts: dict[str, str]) -> tuple[DosedMaterial, ...]:
    """One material a substance, pure."""
    return tuple(DosedMaterial(f"jar of {n}", Decimal(p), (Part(n, Decimal(100)),)) for n, p in parts.items())


@pytest.fixture
def ask() -> Ask:
    def ask(parts, exposure="leave-on", ph=None, jurisdiction="EU", products=(), **more) -> Verdict:
        made = materials(parts) if isinstance(parts, dict) else tuple(parts)
        acidity = None if ph is None else Decimal(str(ph))
        formula = FormulaFacts(made, Exposure(exposure), acidity, frozenset(products), **more)
        return check_formula(formula, rulebook(jurisdiction))

    return ask
