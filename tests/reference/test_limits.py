"""Every row of the tables of law fires when it should and is silent when it should, read straight from the files."""

import csv
from datetime import date
from decimal import ROUND_DOWN, ROUND_UP, Decimal

import pytest

from app.reference.library import split_cell
from app.reference.limits import (
    COLUMNS,
    formaldehyde_releasers,
    jurisdictions,
    limit_index,
    limit_rows,
    limit_table_ages,
)
from app.reference.tables import FOLDER
from app.science.composition import DosedMaterial, Part
from app.science.rules.limits import check_limits
from app.science.rules.values import Exposure, FormulaFacts, LimitUnit, Severity

# A name of the group where a row is headed by a description instead of an INCI name.
ONE_OF = {
    "Parabens (methyl, ethyl, propyl, butyl and salts) in mixture": "4-Hydroxybenzoic Acid",
    "Ammonia; Ammonium Hydroxide": "Ammonia",
    "Aluminum Zirconium Chlorohydrate complexes": "Aluminum Zirconium Tetrachlorohydrex GLY",
    "Aluminum compounds (chlorohydrate and others)": "Aluminum Chlorohydrate",
    "Cocamide DEA and other fatty acid dialkanolamides": "Lauramide DEA",
    "Monoalkanolamines and salts (Ethanolamine)": "Ethanolamine",
    "Diethanolamine and other secondary alkanolamines": "Diisopropanolamine",
    "Rose Ketones (sum)": "Alpha-Damascone",
    "Myroxylon Balsamum Pereirae extracts and distillates": "Myroxylon Pereirae Oil",
    "Liquidambar Orientalis / Styraciflua resin oil and extract": "Liquidambar Styraciflua Oil",
    "Commiphora / Opopanax gum oil and extract": "Opopanax Chironium Resin Extract",
    "Tagetes Minuta / Patula Flower Oil or Extract": "Tagetes Patula Flower Oil",
    "Arachis Hypogaea (Peanut) Oil and derivatives": "Arachis Hypogaea Oil",
    "Essential oils with a peroxide limit (pine, fir, turpentine, terpene hydrocarbons, Limonene)": "Limonene",
    "Titanium Dioxide powder": "Titanium Dioxide",
    "Atranol; Chloroatranol": "Chloroatranol",
    "Formaldehyde; Paraformaldehyde": "Paraformaldehyde",
    "Isopropyl-, Isobutyl-, Phenyl-, Benzyl-, Pentylparaben": "Phenylparaben",
    "Boric Acid; borates (Sodium Borate)": "Sodium Borate",
    "Tagetes Erecta Flower Oil or Extract": "Tagetes Erecta Flower Oil",
    "Saussurea Lappa Root Oil (costus)": "Saussurea Lappa Root Oil",
    "Myroxylon Pereirae (crude balsam)": "Myroxylon Pereirae Resin",
    "Lippia Citriodora oils other than absolute": "Lippia Citriodora Leaf Oil",
    "Tretinoin (Retinoic Acid)": "Retinoic Acid",
    "Cholecalciferol; Ergocalciferol (vitamin D)": "Ergocalciferol",
    "Lead compounds; Mercury compounds": "Lead Acetate",
    "Glucocorticoids; Antibiotics; Lidocaine": "Hydrocortisone Acetate",
    "Theophylline; Melamine": "Melamine",
    "Furocoumarins (bergapten, xanthotoxin)": "Bergapten",
    "Aluminium-containing ingredients": "CI 77000",
    "Water-soluble zinc salts": "Zinc Gluconate",
    "Silver (CI 77820)": "CI 77820",
    "Silver (nano)": "Colloidal Silver",
    "Inorganic sulfites and bisulfites": "Sodium Sulfite",
    "Alkaline sulfides": "Sodium Sulfide",
    "Alkaline earth sulfides": "Calcium Sulfide",
    "Lead compounds": "Lead Acetate",
    "Synthetic polymer microparticles": "Nylon-12",
    "Benzophenone-4; Benzophenone-5": "Benzophenone-4",
    "Melaleuca Alternifolia (Tea Tree) Leaf Oil": "Melaleuca Alternifolia Leaf Oil",
    "Halogenated salicylanilides (di-, tri-, metabromsalan, tetrachlorosalicylanilide)": "Dibromsalan",
    "Zirconium complexes": "Zirconium Powder",
    "Chlorofluorocarbon propellants": "Dichlorodifluoromethane",
    "Mercury compounds": "Mercury",
    "Prohibited cattle materials": "Tallow",
    "Sunscreen ingredients": "Avobenzone",
    "Color additives": "FD&C Blue No. 1",
    "Mica; Titanium Dioxide; Iron Oxides; Zinc Oxide": "Mica",
    "Carmine; Cochineal": "Carmine",
    "Diethanolamine, formaldehyde, parabens, phthalates, phenoxyethanol, fragrance allergens": "Diethyl Phthalate",
    "Essential oils and fragrance compounds": "Parfum",
}
# What one per cent of that name counts as, from the molar masses.
FACTORS = {
    "Water-soluble zinc salts": Decimal("0.1435"),
    "Inorganic sulfites and bisulfites": Decimal("0.5083"),
    "Alkaline sulfides": Decimal("0.4108"),
    "Alkaline earth sulfides": Decimal("0.4444"),
    "Glyceryl Thioglycolate": Decimal("0.5544"),
    "Thimerosal": Decimal("0.4955"),
}
# Judged by engines of their own, with tests of their own.
ELSEWHERE = {"81 fragrance allergen entries", "Formaldehyde released by Annex V substances"}
UNMEASURED = {"secondary amine in product"}


def raw_rows():
    for path in sorted((FOLDER / "limits").glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as handle:
            for number, row in enumerate(csv.DictReader(handle), start=2):
                yield pytest.param(row, id=f"{path.stem}-{number}-{row['inci_name'][:30]}")


def rows(*types):
    return [p for p in raw_rows() if p.values[0]["rule_type"] in types and p.values[0]["inci_name"] not in ELSEWHERE]


CAPPED = [
    p for p in rows("max", "guidance") if p.values[0]["max_percent"] and p.values[0]["expressed_as"] not in UNMEASURED
]


def market(row):
    return "US" if row["jurisdiction"] != "EU" else "EU"


def verdict(row, percent, ph=None, name=None):
    """Ask the tables alone, in the exposure and the kind of product the row speaks of."""
    substance = name or ONE_OF.get(row["inci_name"], row["inci_name"])
    made = (DosedMaterial("jar", percent, (Part(substance, Decimal(100)),)),)
    exposure = Exposure(split_cell(row["exposures"])[0])
    products = words_of(row)
    on = date.fromisoformat(row["applies_from"]) if row["applies_from"] else None
    on = date(2026, 11, 25) if row["until"] else on
    return check_limits(FormulaFacts(made, exposure, ph, products, on=on), limit_index(market(row)))


def words_of(row):
    """Words for a kind of product that the first alternative of the scope takes in."""
    first = next(iter(split_cell(row["products"])), "")
    wanted = {word for word in first.split("+") if word and not word.startswith("!")}
    return frozenset(wanted or ({"nobody's kind"} if first else ()))


def dose(row, share, rounding):
    """Turn a share of the limit into % of the substance as weighed."""
    factor = FACTORS.get(row["inci_name"]) or Decimal(row["factor_to_expressed_as"] or "1")
    return (Decimal(row["max_percent"]) * share / factor).quantize(Decimal("0.00000001"), rounding)


def over(row, found):
    maximum = Decimal(row["max_percent"])
    hits = [f for f in found.findings if f.rule == row["legal_reference"] and f.limit == maximum and f.found > maximum]
    if row["purpose"] == "preservative" and not hits:  # another purpose allows it, and says so
        hits = [f for f in found.findings if row["legal_reference"] in f.what and f.found > maximum]
    return [f for f in hits if f.unit == LimitUnit.PERCENT]


def on_ph(row):
    """A pH inside the window of the row, so that only its amount is judged."""
    return Decimal(row["ph_min"] or 7) if row["ph_min"] or row["ph_max"] else None


@pytest.mark.parametrize("row", CAPPED)
def test_just_over_the_limit_the_row_fires(row):
    hits = over(row, verdict(row, dose(row, Decimal("1.001"), ROUND_UP), on_ph(row)))
    assert hits
    assert hits[0].severity in (Severity.STOP, Severity.CAUTION) or row["purpose"] == "preservative"
    assert hits[0].materials == ("jar",)
    assert row["as_of"] in hits[0].source.text or row["purpose"] == "preservative"


@pytest.mark.parametrize("row", CAPPED)
@pytest.mark.parametrize("share", ["1", "0.999"])
def test_at_the_limit_and_just_under_it_the_row_is_silent(row, share):
    assert not over(row, verdict(row, dose(row, Decimal(share), ROUND_DOWN)))


@pytest.mark.parametrize("row", rows("prohibited"))
def test_a_prohibited_substance_is_found_at_any_amount(row):
    hits = [f for f in verdict(row, Decimal("0.00001")).findings if f.rule == row["legal_reference"]]
    assert hits
    usual = Severity.CAUTION if row["uncertain"] == "yes" else Severity.STOP
    assert hits[0].severity == (Severity(row["severity"]) if row["severity"] else usual)


@pytest.mark.parametrize("row", rows("prohibited"))
def test_a_formula_without_it_is_not_accused(row):
    assert not verdict(row, Decimal(50), name="Glycerin").findings


@pytest.mark.parametrize("row", rows("condition", "note", "guidance", "pending"))
def test_what_has_no_figure_is_said_or_listed_as_not_checked(row):
    found = verdict(row, Decimal("0.01"))
    spoken = [f.rule for f in found.findings]
    assert (
        row["legal_reference"] in spoken
        or any(row["legal_reference"] in line for line in found.not_checked)
        or (row["max_percent"] and row["rule_type"] == "guidance")
        or row["ph_max"]
        or row["only_in_scope"] == "yes"
        or row["purpose"] == "other"
    )


@pytest.mark.parametrize("row", rows("condition", "note", "guidance", "pending"))
def test_what_has_no_figure_is_silent_about_other_substances(row):
    found = verdict(row, Decimal(5), name="Glycerin")
    assert not found.findings
    assert not found.not_checked


WITH_PH = [
    p
    for p in raw_rows()
    if (p.values[0]["ph_max"] or p.values[0]["ph_min"]) and p.values[0]["rule_type"] not in ("info", "label")
]


@pytest.mark.parametrize("row", WITH_PH)
def test_a_ph_outside_the_window_is_found_and_one_inside_is_not(row):
    inside = (Decimal(row["ph_min"] or "7") + Decimal(row["ph_max"] or "8")) / 2
    outside = Decimal(row["ph_max"]) + 1 if row["ph_max"] else Decimal(row["ph_min"]) - 1
    bounds = {Decimal(row[k]) for k in ("ph_min", "ph_max") if row[k]}
    wrong = verdict(row, Decimal("0.01"), outside)
    assert any(f.rule == row["legal_reference"] and f.limit in bounds for f in wrong.findings)
    assert not [f for f in verdict(row, Decimal("0.01"), inside).findings if f.found == inside]


FENCED = [p for p in CAPPED if p.values[0]["only_in_scope"] == "yes" and p.values[0]["general"] == "yes"]


@pytest.mark.parametrize("row", FENCED)
def test_a_row_for_one_exposure_only_stops_the_other(row):
    other = ({"leave-on", "rinse-off"} - set(split_cell(row["exposures"]))).pop()
    found = verdict({**row, "exposures": other}, Decimal("0.0001"))
    assert any(f.rule == row["legal_reference"] and f.severity == Severity.STOP for f in found.findings)


def test_the_tables_have_the_rows_they_should():
    counts = {name: len(limit_rows(name)) for name in jurisdictions()}
    assert counts == {"EU": 412, "GUIDANCE": 7, "US": 19}


def test_an_unknown_jurisdiction_is_refused():
    with pytest.raises(KeyError):
        limit_rows("ATLANTIS")


def test_every_cell_keeps_its_meaning():
    for row in limit_rows():
        assert row.exposures
        assert row.source
        assert row.source_status in ("verified", "from memory")
        assert row.general or row.products
        assert row.max_percent is None or 0 <= row.max_percent <= 100
        assert all(0 < factor <= 1 or row.inci_name.endswith("Silver Citrate") for factor in row.factors.values())


def test_columns_are_read_strictly():
    assert len(COLUMNS) == len(set(COLUMNS)) == 39


@pytest.mark.parametrize(
    ("name", "share"),
    # moles of CH2O times 30.026 over the molar mass, worked by hand
    [("DMDM Hydantoin", "0.3191"), ("Sodium Hydroxymethylglycinate", "0.2363"), ("Diazolidinyl Urea", "0.4317")],
)
def test_releasers_give_what_their_formulas_hold(name, share):
    assert {r.inci: r.share for r in formaldehyde_releasers()}[name] == Decimal(share)


def test_the_age_of_every_table_is_known():
    ages = {age.table: age for age in limit_table_ages()}
    assert set(ages) == {"EU", "US", "GUIDANCE"}
    assert ages["EU"].state.isoformat() == "2026-05-01"
