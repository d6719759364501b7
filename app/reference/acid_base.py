"""The constants of acids, bases, salts and acid polymers, read once from the shipped tables."""

import re
from dataclasses import dataclass, replace
from fnmatch import translate
from functools import cache

from app.reference.label_names import is_listed, nearest_name
from app.reference.tables import read_table
from app.reference.water import water_percent_in
from app.science.acid_base.hydrates import name_waters, parse_waters, split_name, with_waters
from app.science.acid_base.values import Family, Ion, MixtureLine, Polymer, Reserve, Solute
from app.science.names import inci_key
from app.science.rules.names import plain_name

PKA_COLUMNS = [
    "species",
    "inci_name",
    "formula",
    "molar_mass",
    "charge_of_fully_protonated_form",
    "pKa1",
    "pKa2",
    "pKa3",
    "source",
    "source_status",
    "pKa_all",
    "pKa_uncertainty",
    "kind",
    "weak_species",
    "weak_mol_per_mol",
    "strong_ions_per_mol",
    "water_released_mol_per_mol",
    "free_form_factor",
    "dissociation_enthalpy_kJ_per_mol",
    "note",
]
NAME_COLUMNS = [
    "species",
    "inci_name",
    "formula_waters",
    "sold_waters",
    "usual_assay_percent",
    "solubility_g_kg",
    "other_names",
]
MORE_COLUMNS = [
    "inci_name",
    "formula",
    "molar_mass",
    "weak_per_mol",
    "strong_ions_per_mol",
    "ionic_weight",
    "other_names",
    "source_status",
]
SOLD_COLUMNS = [
    "pattern",
    "base_low",
    "base_high",
    "holds_ph",
    "withhold_above",
    "only_above_ph",
    "words",
    "source",
    "source_status",
]
SAP_COLUMNS = [
    "inci_name",
    "common_name",
    "sap_mg_koh_low",
    "sap_mg_koh_high",
    "sap_mg_koh_typical",
    "naoh_g_per_g_typical",
    "koh_g_per_g_typical",
    "iodine_low",
    "iodine_high",
    "sap_source",
    "sap_range_status",
    "sap_typical_status",
    "iodine_source",
    "iodine_status",
    "notes",
]
POLYMER_COLUMNS = [
    "species",
    "inci_name",
    "equivalent_mass",
    "equivalent_uncertainty",
    "pk_app",
    "pk_uncertainty",
    "slope",
    "slope_uncertainty",
    "strong_ions_per_group",
    "usual_assay_percent",
    "other_names",
    "source",
    "source_status",
]

WATER_NAMES = frozenset(
    map(inci_key, ("Aqua", "Water", "Eau", "Aqua/Water", "Water/Aqua", "Aqua (Water)", "Water (Aqua)", "Aqua/Water/Eau",
                   "Water (Aqua/Eau)", "Aqua (Water/Eau)", "Purified Water", "Distilled Water", "Deionized Water",
                   "H2O"))
)  # fmt: skip
SOLVENT_NAMES = frozenset(
    map(inci_key, ("Alcohol", "Alcohol Denat.", "Alcohol Denat", "Ethanol", "SD Alcohol 40-B", "Isopropyl Alcohol",
                   "Glycerin", "Glycerol", "Diglycerin", "Propylene Glycol", "Propanediol", "Butylene Glycol",
                   "Pentylene Glycol", "Hexylene Glycol", "1,2-Hexanediol", "Dipropylene Glycol", "Methylpropanediol",
                   "Ethoxydiglycol", "PEG-4", "PEG-6", "PEG-8", "PEG-400", "Glycol", "Dimethyl Isosorbide"))
)  # fmt: skip
# A name with one of these words may hide an acid, a base or a salt (common practice).
MATTERS = re.compile(
    r"\b(ACIDS?|SODIUM|DISODIUM|TRISODIUM|POTASSIUM|AMMONIUM|CALCIUM|MAGNESIUM|ZINC|ALUMIN\w+|LITHIUM|IRON|COPPER|"
    r"\w*CHLORIDE|HYDROCHLORIDE|HCL|HYDROXIDE|ZINC OXIDE|\w*CARBONATE|\w*PHOSPHATE|\w*CITRATE|LACTATE|SULFATE|"
    r"\w*AMINE|TEA|MEA|"
    r"EXTRACT|JUICE|PROTEIN|FERMENT|FILTRATE|LYSATE|HYDROLYZED|HYDROLYSED|BETAINE|\w*SULTAINE|AMINO|PEPTIDE\S*|"
    r"CLAY|HONEY|MEL|SOAP|VINEGAR|LAURETH SULFATE|COLLAGEN|KERATIN|MILK)\b"
)
UNKNOWN = Reserve(-8e-5, 8e-5)  # acid or alkali hidden in an extract, a protein and the like, mol/g (estimate)
ANYTHING = Reserve(-8e-3, 8e-3)  # a misspelt acid, base or salt: one charge per 125 g/mol either way
# What holds the pH although the tables have constants for it: they say nothing of micelles, crystals and grades.
THOUGH_KNOWN = frozenset({"soap", "hardly soluble", "part neutralised"})
SAPONIFIED = Reserve(
    words="lye makes soap of it, which uses the lye up", holds_ph="soap", withhold_above=1.0, only_above_ph=13.0
)
SULFONATES = frozenset({"sodium_methyl_lauroyl_taurate"})
EXTRA_FAMILIES = {"chlorhexidine_digluconate": (("gluconic_acid", 2.0),)}  # the table's own remark on that row
ALKALI_SCATTER = {"sodium_hydroxide": 0.015, "potassium_hydroxide": 0.025, "ammonia": 0.03}


POLYMER_SPECIES = {
    "carbomer_unit": "Carbomer",
    "sodium_hyaluronate_unit": "Sodium Hyaluronate",
    "hyaluronic_unit": "Hyaluronic Acid",
    "alginic_unit": "Alginic Acid",
}


@dataclass(frozen=True, slots=True)
class AcidBaseRow:
    """A substance of the table under one of its hydrates; ``source`` and ``status`` say where the figures come from."""

    substance: Solute
    formula_waters: float
    sold_waters: float | None
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class FoundSolute:
    """A substance looked up by name: what it is, in which hydrate, and a remark when the hydrate was assumed."""

    substance: Solute
    waters: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class AcidBaseTable:
    """Every acid, base, salt, ion and acid polymer the computation knows.

    Attributes:
        families, polymers: by their key.
        by_species: the rows by species id.
        by_name: the rows (hydrates of one substance together) by INCI name or other name, as ``inci_key``.
        as_sold: what materials without constants bring, by the shape of their name; the first that fits wins.
    """

    families: dict[str, Family]
    polymers: dict[str, Polymer]
    by_species: dict[str, AcidBaseRow]
    by_name: dict[str, tuple[AcidBaseRow, ...]]
    as_sold: tuple[tuple[re.Pattern[str], Reserve], ...]

    def names(self) -> tuple[str, ...]:
        """Return the INCI names that have acid-base data, sorted."""
        return tuple(sorted({row.substance.inci for row in self.by_species.values() if row.substance.active}))

    def find(self, name: str, hydrate: str | None = None) -> FoundSolute | None:
        """Look a substance up by INCI name, another name or species id; None when it is not in the tables.

        Raises:
            Invalid: field ``hydrate``, when the hydrate is not understood.
        """
        row = self.by_species.get(name.strip().lower())
        if row is not None:
            waters = row.formula_waters if row.sold_waters is None else row.sold_waters
            return _hydrated((row,), waters if hydrate is None else parse_waters(hydrate))
        rows, in_name = self.by_name.get(inci_key(name)), None
        if rows is None:
            bare, in_name = split_name(name)
            rows = self.by_name.get(inci_key(bare))
        if rows is None:
            return None
        wanted = hydrate if hydrate is not None else in_name
        if wanted is not None:
            return _hydrated(rows, parse_waters(wanted))
        row = next((r for r in rows if r.sold_waters is not None), rows[0])
        waters = row.formula_waters if row.sold_waters is None else row.sold_waters
        found = _hydrated(rows, waters)
        if len(rows) == 1 and waters == 0:
            return found
        return replace(found, note=f"{row.substance.inci} is taken as {name_waters(waters)}, as it is commonly sold")

    def line(self, name: str, percent: float, assay_percent: float = 100.0, hydrate: str | None = None) -> MixtureLine:
        """Write a formula line: % w/w as weighed, strength 0..100, hydrate in words.

        Raises:
            Invalid: field ``hydrate``, when the hydrate is not understood.
        """
        if inci_key(name) in WATER_NAMES:
            return MixtureLine(name, percent, is_water=True)
        found = self.find(name, hydrate)
        substance = found.substance if found else None
        solvent = inci_key(name) in SOLVENT_NAMES
        water = float(water_percent_in(name)) if substance is None else 0.0
        reserve = None if solvent else self._reserve(name, substance)
        return MixtureLine(name, percent, substance, assay_percent, False, water, solvent, reserve)

    def _reserve(self, name: str, substance: Solute | None) -> Reserve | None:
        """Return what a material may give or take that the charge balance does not know of."""
        words = plain_name(name)
        known = next((reserve for pattern, reserve in self.as_sold if pattern.match(words)), None)
        if substance is not None:
            return known if known is not None and known.holds_ph in THOUGH_KNOWN else None
        if known is not None:
            return known if known.holds_ph or known.high > known.low else None
        if inci_key(name) in saponifiable():
            return SAPONIFIED
        if is_listed(name):
            return UNKNOWN if MATTERS.search(words) else None
        meant = self.find(nearest_name(name))
        return ANYTHING if meant is not None and meant.substance.active else UNKNOWN


def _hydrated(rows: tuple[AcidBaseRow, ...], waters: float) -> FoundSolute:
    exact = [row for row in rows if row.formula_waters == waters]
    row = exact[0] if exact else rows[0]
    if row.substance.polymer is not None:
        return FoundSolute(row.substance, 0.0)
    return FoundSolute(with_waters(row.substance, row.formula_waters, waters), waters)


@cache
def acid_base_table() -> AcidBaseTable:
    """Read the tables (once).

    Raises:
        ValueError: when a table is not what it should be.
    """
    rows = read_table("pka", PKA_COLUMNS)
    names = {n["species"]: n for n in read_table("acid_base_names", NAME_COLUMNS)}
    families = {r["species"]: _family(r, names) for r in rows if r["pKa_all"] and not r["kind"].startswith("polyacid")}
    polymer_rows = read_table("acid_polymers", POLYMER_COLUMNS)
    polymers = {
        p["inci_name"]: Polymer(
            key=inci_key(p["inci_name"]),
            name=p["inci_name"],
            pk=float(p["pk_app"]),
            pk_uncertainty=float(p["pk_uncertainty"]),
            slope=float(p["slope"]),
            slope_uncertainty=float(p["slope_uncertainty"]),
            equivalent_uncertainty=float(p["equivalent_uncertainty"]),
        )
        for p in polymer_rows
    }
    by_species = {r["species"]: _substance_row(r, names[r["species"]], families) for r in rows if r["species"] in names}
    more = read_table("acid_base_more", MORE_COLUMNS)
    extra = [(_more_row(m, families), m["other_names"]) for m in more]
    extra += [(_polymer_row(p, polymers[p["inci_name"]]), p["other_names"]) for p in polymer_rows]
    found: dict[str, list[AcidBaseRow]] = {}
    aliases: dict[str, str] = {}
    entries = [(row, names[species]["other_names"]) for species, row in by_species.items()]
    for row, others in [*entries, *extra]:
        key = inci_key(row.substance.inci)
        found.setdefault(key, []).append(row)
        for other in filter(None, others.split(";")):
            aliases[inci_key(other)] = key
    by_name = {name: tuple(found[key]) for name, key in ({k: k for k in found} | aliases).items()}
    for row, _ in extra:
        by_species.setdefault(row.substance.key, row)
    by_species |= {species: by_name[inci_key(inci)][0] for species, inci in POLYMER_SPECIES.items()}
    written = {inci_key(r["inci_name"]): (by_species[r["species"]],) for r in rows if r["species"] in by_species}
    by_name = written | by_name
    as_sold = []
    for sold in read_table("as_sold", SOLD_COLUMNS):
        if sold["holds_ph"]:
            withhold = float(sold["withhold_above"])
            above = _float_or_none(sold["only_above_ph"])
            reserve = Reserve(
                words=sold["words"], holds_ph=sold["holds_ph"], withhold_above=withhold, only_above_ph=above
            )
        else:
            reserve = Reserve(float(sold["base_low"]) / 1000.0, float(sold["base_high"]) / 1000.0, sold["words"])
        as_sold.append((re.compile(translate(sold["pattern"])), reserve))
    return AcidBaseTable(families, polymers, by_species, by_name, tuple(as_sold))


@cache
def saponifiable() -> frozenset[str]:
    """Return the fats and waxes that lye makes soap of, by `inci_key`: those with a saponification value."""
    return frozenset(inci_key(row["inci_name"]) for row in read_table("sap", SAP_COLUMNS))


@cache
def _soluble() -> dict[str, float]:
    rows = read_table("adjuster_solubility", ["inci_name", "soluble_percent", "source", "source_status"])
    return {inci_key(row["inci_name"]): float(row["soluble_percent"]) for row in rows}


def _family(row: dict[str, str], names: dict[str, dict[str, str]]) -> Family:
    pkas = _floats(row["pKa_all"])
    enthalpies = _floats(row["dissociation_enthalpy_kJ_per_mol"])
    return Family(
        key=row["species"],
        name=names[row["species"]]["inci_name"],
        charge=int(row["charge_of_fully_protonated_form"]),
        pkas=pkas,
        enthalpies=(enthalpies + (0.0,) * len(pkas))[: len(pkas)],
        uncertainty=float(row["pKa_uncertainty"]),
        enthalpy_known=bool(enthalpies),
        molar_mass=float(row["molar_mass"]),
        solubility_g_kg=_float_or_none(names[row["species"]]["solubility_g_kg"]),
    )


def _substance_row(row: dict[str, str], names: dict[str, str], families: dict[str, Family]) -> AcidBaseRow:
    species = row["species"]
    weak = [(row["weak_species"], float(row["weak_mol_per_mol"]))] if row["weak_species"] else []
    parts = [*weak, *EXTRA_FAMILIES.get(species, ())]
    substance = Solute(
        key=species,
        inci=names["inci_name"],
        molar_mass=float(row["molar_mass"]),
        families=tuple((families[key], amount) for key, amount in parts),
        ions=_ions(row["strong_ions_per_mol"]),
        water=float(row["water_released_mol_per_mol"] or 0),
        ionic_weight=1 / 3 if species in SULFONATES else 1.0,
        assay_uncertainty=ALKALI_SCATTER.get(species, 0.01),
        usual_assay_percent=_float_or_none(names["usual_assay_percent"]),
        soluble_percent=_soluble().get(inci_key(names["inci_name"])),
        note=row["note"],
    )
    waters = float(names["formula_waters"])
    return AcidBaseRow(substance, waters, _float_or_none(names["sold_waters"]), row["source"], row["source_status"])


def _more_row(row: dict[str, str], families: dict[str, Family]) -> AcidBaseRow:
    substance = Solute(
        key=inci_key(row["inci_name"]).lower().replace(" ", "_"),
        inci=row["inci_name"],
        molar_mass=float(row["molar_mass"]),
        families=tuple((families[key], amount) for key, amount in _pairs(row["weak_per_mol"])),
        ions=_ions(row["strong_ions_per_mol"]),
        ionic_weight=float(row["ionic_weight"]),
        soluble_percent=_soluble().get(inci_key(row["inci_name"])),
    )
    return AcidBaseRow(substance, 0.0, 0.0, "stoichiometry", row["source_status"])


def _polymer_row(row: dict[str, str], polymer: Polymer) -> AcidBaseRow:
    substance = Solute(
        key=inci_key(row["inci_name"]).lower().replace(" ", "_"),
        inci=row["inci_name"],
        molar_mass=float(row["equivalent_mass"]),
        polymer=polymer,
        polymer_equivalents=1.0,
        ions=_ions(row["strong_ions_per_group"]),
        usual_assay_percent=_float_or_none(row["usual_assay_percent"]),
    )
    return AcidBaseRow(substance, 0.0, 0.0, row["source"], row["source_status"])


def _floats(text: str) -> tuple[float, ...]:
    return tuple(float(part) for part in text.split(";") if part)


def _float_or_none(text: str) -> float | None:
    return float(text) if text else None


def _pairs(text: str) -> list[tuple[str, float]]:
    return [(key, float(amount)) for key, _, amount in (part.rpartition(":") for part in text.split(";") if part)]


def _ions(text: str) -> tuple[tuple[Ion, float], ...]:
    """Read ions with their charge and their amount: ``Na+`` is 1, ``SO4-2`` is -2."""
    found = []
    for name, amount in _pairs(text):
        charge = re.search(r"([+-])(\d*)$", name)
        if charge is None:
            raise ValueError(f"no charge in the ion {name!r}")
        found.append((Ion(name, int(charge[1] + (charge[2] or "1"))), amount))
    return tuple(found)
