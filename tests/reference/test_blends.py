"""The shipped blends: each sums to 100, each part lies in its own range, each name is known."""

from decimal import Decimal

import pytest

from app.reference import blends as module
from app.reference.blends import COLUMNS, blend_uses, blends
from app.reference.inci_names import inci_names
from app.reference.provenance import Status
from app.reference.tables import read_table
from app.science.names import inci_key

ALL = tuple(blends().values())


def test_the_table_has_59_blends_of_170_parts() -> None:
    assert len(ALL) == 59
    assert sum(len(blend.parts) for blend in ALL) == len(read_table("blends", COLUMNS)) == 170


@pytest.mark.parametrize("blend", ALL, ids=lambda b: b.name)
def test_a_blend_is_whole(blend: module.Blend) -> None:
    assert sum(part.percent for part in blend.parts) == Decimal(100)
    lows, highs = [p.low or 0 for p in blend.parts], [p.high or 0 for p in blend.parts]
    assert sum(lows) <= 100 <= sum(highs)
    assert all(p.low is not None and p.high is not None and p.low <= p.percent <= p.high for p in blend.parts)
    assert len({inci_key(p.inci) for p in blend.parts}) == len(blend.parts) >= 2
    assert all(inci_key(p.inci) in inci_names() for p in blend.parts)


def test_28_of_160_percentages_are_verified_and_a_blend_is_as_sure_as_its_least_sure_part() -> None:
    assert sum(r["source_status"] == Status.VERIFIED for r in read_table("blends", COLUMNS)) == 28
    sure = (Status.VERIFIED, Status.COMPUTED)
    assert sum(len(b.parts) for b in ALL if b.provenance.status in sure) == 27
    assert blends()["cocamidopropyl betaine 30 %"].provenance.status is Status.FROM_MEMORY


def test_the_lines_of_a_blend_stand_together_and_share_their_notes() -> None:
    rows = read_table("blends", COLUMNS)
    order = [r["blend_name"] for r in rows]
    assert order == sorted(order, key=order.index)
    assert len({(r["blend_name"], r["notes"]) for r in rows}) == len(ALL)


def test_a_blend_that_does_not_sum_to_100_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    row = dict.fromkeys(COLUMNS, "") | {"blend_name": "x", "component_inci": "Aqua", "source_status": "verified"}
    row |= {"percent_low": "90", "percent_typical": "99.9", "percent_high": "100"}
    monkeypatch.setattr(module, "read_table", lambda name, columns: [row])
    with pytest.raises(ValueError, match=r"x sums to 99\.9, not 100"):
        blends.__wrapped__()


def test_the_stated_uses_belong_to_blends_and_are_in_order() -> None:
    assert len(blend_uses()) == 11
    assert set(blend_uses()) <= set(blends())
    for use in blend_uses().values():
        assert (use.use_low or 0) < (use.use_high or 100)
        assert (use.ph_min or 0) < (use.ph_max or 14)
        assert (use.use_provenance is None) == (use.use_low is None and use.use_high is None)
        assert (use.ph_provenance is None) == (use.ph_min is None and use.ph_max is None)


def test_the_highest_dose_of_the_isothiazolinone_solution_follows_from_the_legal_limit() -> None:
    """EU 1223/2009 Annex V entry 39: 0.0015 % of the 3:1 mixture."""
    parts = {p.inci: p.percent for p in blends()["MCI/MI 3:1 solution 1.5 %"].parts}
    active = parts["Methylchloroisothiazolinone"] + parts["Methylisothiazolinone"]
    dose = blend_uses()["MCI/MI 3:1 solution 1.5 %"].use_high
    assert dose is not None
    assert Decimal("0.00145") < dose * active / 100 <= Decimal("0.0015")
