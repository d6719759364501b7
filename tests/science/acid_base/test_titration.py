import numpy as np
import pytest

from app.science.acid_base.dosing import ph_after
from app.science.acid_base.model import compile_model
from app.science.acid_base.prediction import predict_model
from app.science.acid_base.titration import buffer_shares, curve_with_band


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
