import numpy as np
import pytest

from app.reference.acid_base import acid_base_table
from app.science.acid_base.dosing import ph_after
from app.science.acid_base.model import compile_model
from app.science.acid_base.prediction import predict, predict_model
from app.science.acid_base.titration import buffer_shares, curve_with_band
from app.science.acid_base.values import Adjuster


def test_the_dose_table_of_carbomer_is_met(mix, solution):
    """Grams per gram of carbomer computed for the reference text: NaOH 10 %, 0.5 % polymer."""
    model = compile_model(mix(("Carbomer", 0.5)), (solution("Sodium Hydroxide", 10),))
    table = {5.0: 0.90, 5.5: 1.45, 6.0: 2.16, 6.5: 2.95, 7.0: 3.69, 7.5: 4.27}
    ph = ph_after(model, (np.array(list(table.values())) * 0.005)[:, None])
    assert ph == pytest.approx(list(table), abs=0.05)


def test_half_a_percent_of_citric_acid_with_alkali(mix, solution):
    """0.5 g of NaOH 10 % moves 100 g from 2.39 to 3.07; near the end 0.1 g moves 7.45 to 11.15."""
    model = compile_model(mix(("Citric Acid", 0.5)), (solution("Sodium Hydroxide", 10),))
    early = ph_after(model, (np.array([0.0, 0.005]))[:, None])
    late = ph_after(model, (np.linspace(0.028, 0.034, 200))[:, None])
    assert early == pytest.approx([2.39, 3.07], abs=0.02)
    start = int(np.argmin(np.abs(late - 7.45)))
    after = ph_after(model, (np.array([0.028 + start * 0.006 / 199 + 0.001]))[:, None])
    assert float(after[0]) == pytest.approx(11.15, abs=0.15)


def test_the_buffer_shares_add_up_and_name_the_buffer(mix):
    model = compile_model(mix(("Citric Acid", 0.5), ("Sodium Citrate", 1.0), ("Tromethamine", 0.05)))
    shares = buffer_shares(model)
    assert sum(s.share for s in shares) == pytest.approx(1)
    assert sum(s.capacity for s in shares) == pytest.approx(predict_model(model).capacity)
    assert shares[0].name == "Citric Acid"
    assert shares[0].share > 0.95


def test_water_alone_holds_nothing(mix):
    shares = buffer_shares(compile_model(mix()))
    assert [s.name for s in shares] == ["Water"]
    assert shares[0].capacity < 1e-6


def test_the_polymer_holds_the_ph_of_a_gel(mix):
    shares = buffer_shares(compile_model(mix(("Carbomer", 0.5), ("Sodium Hydroxide", 0.18))))
    assert shares[0].name == "Carbomer"
    assert shares[0].share > 0.95


def test_the_band_holds_the_curve_and_the_batch_scales_it(mix, solution):
    model = compile_model(mix(("Carbomer", 0.5)), (solution("Triethanolamine", 99),))
    doses = np.linspace(0, 0.015, 70)
    small, large = curve_with_band(model, doses, 100), curve_with_band(model, doses, 1000)
    assert all(p.low < p.ph < p.high for p in small)
    assert [p.grams * 10 for p in small] == pytest.approx([p.grams for p in large])
    assert [p.ph for p in small] == pytest.approx([p.ph for p in large])


@pytest.mark.parametrize(
    ("lines", "name", "rises"),
    [
        ((("Citric Acid", 0.5), ("Cetrimonium Chloride", 1.0)), "Sodium Hydroxide", True),
        ((("Lactic Acid", 0.2, 88),), "Sodium Hydroxide", True),
        ((("Carbomer", 0.4), ("Sodium Hydroxide", 0.25)), "Citric Acid", False),
    ],
    ids=["citric acid", "a jump", "downwards"],
)
def test_the_band_goes_the_way_of_its_curve_and_never_beyond_what_the_inputs_allow(mix, solution, lines, name, rises):
    """While alkali goes in nothing turns more acid: near the jump the doubt lies in the grams, not in the pH."""
    model = compile_model(mix(*lines), (solution(name, 10),))
    points = curve_with_band(model, np.linspace(0, 0.05, 121), 100)
    for values in ([p.low for p in points], [p.ph for p in points], [p.high for p in points]):
        steps = np.diff(values) if rises else -np.diff(values)
        assert steps.min() >= -1e-9
    assert min(p.low for p in points) > min(points[0].ph, points[-1].ph) - 1.0
    assert max(p.high for p in points) < max(points[0].ph, points[-1].ph) + 1.0


def test_where_the_curve_is_smooth_the_band_is_the_quadrature_of_the_single_doubts(mix):
    """The band at dose 0 is compared with the range of the prediction, which adds each input's shift in quadrature."""
    mixture = mix(("Citric Acid", 0.5), ("Sodium Citrate", 1.0))
    predicted = predict(mixture).ph
    alkali = Adjuster(acid_base_table().find("Sodium Hydroxide").substance, 10)
    point = curve_with_band(compile_model(mixture, (alkali,)), np.linspace(0, 0.01, 5), 100)[0]
    assert (point.low, point.high) == pytest.approx((predicted.low, predicted.high), abs=0.03)
