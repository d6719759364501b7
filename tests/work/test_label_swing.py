"""The range of pH of an estimate: acids and bases are moved against each other, which is what widens it."""

from types import SimpleNamespace as Made
from typing import Any

import pytest

from app.work.label_reading import estimate_formula as estimate


def row(place: int, kind: str) -> Any:
    answer = Made(band_low=1.0, band_high=9.0)
    return Made(place=place, listed=Made(class_name=kind), name=Made(may_contain=False), answer=answer)


def test_every_acid_goes_to_one_end_while_every_base_goes_to_the_other(monkeypatch: pytest.MonkeyPatch) -> None:
    moved: list[dict[int, float]] = []
    found = iter((3.5, 6.5))

    def estimated(_sheet: object, ends: dict[int, float]) -> Any:
        moved.append(dict(ends))
        return Made(dosed=())

    monkeypatch.setattr(estimate, "estimate_formula", estimated)
    monkeypatch.setattr(estimate, "mixture_of", lambda _dosed: (None, None))
    monkeypatch.setattr(estimate, "predict", lambda _mixture: Made(ph=Made(value=next(found))))
    sheet: Any = Made(rows=[row(0, "acid"), row(1, "base"), row(2, "emollient")])
    assert estimate._swing(sheet) == (3.5, 6.5)
    assert moved == [{0: 9.0, 1: 1.0}, {0: 1.0, 1: 9.0}]
