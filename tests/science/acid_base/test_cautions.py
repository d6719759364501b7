"""What kind of thing a substance is, so that the right caution stands beside it."""

import pytest

from app.reference.acid_base import acid_base_table
from app.science.acid_base.cautions import Hazard, hazard


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("Sodium Hydroxide", Hazard.STRONG_ALKALI),
        ("Potassium Hydroxide", Hazard.STRONG_ALKALI),
        ("Sodium Chloride", Hazard.SALT),
    ],
)
def test_lye_is_a_strong_alkali_and_common_salt_is_neither(name, kind):
    assert hazard(acid_base_table().find(name).substance) is kind
