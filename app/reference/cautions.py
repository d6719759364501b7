"""What to watch for when a material is weighed; silence here never means that it is harmless."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from app.reference.library import Substance
from app.reference.provenance import Provenance, Status
from app.science.composition import Part
from app.science.names import inci_key

_PRACTICE = Provenance(
    "the usual care in the trade; the supplier's safety data sheet goes first", Status.COMMON_PRACTICE
)
_REGULATION_358_2014 = Provenance("Commission Regulation (EU) No 358/2014 (Annex II)", Status.FROM_MEMORY)
_LEGAL = Provenance("European Commission CosIng annex export, state of 13 May 2024", Status.VERIFIED)


@dataclass(frozen=True, slots=True)
class Caution:
    """One plain warning with its source."""

    text: str
    provenance: Provenance = _PRACTICE


@dataclass(frozen=True, slots=True)
class CautionSubject:
    """What a rule may look at: the parts of a material, what is known of each, and its form."""

    parts: tuple[Part, ...]
    known: tuple[Substance, ...]
    form: str

    def percent_of(self, names: Iterable[str]) -> float:
        """Sum the percent of the parts with one of these keys (0..100)."""
        keys = frozenset(names)
        return float(sum(part.percent for part in self.parts if inci_key(part.inci) in keys))

    def percent_in(self, group: str) -> float:
        """Sum the percent of the parts whose substance belongs to a group (0..100)."""
        return self.percent_of(inci_key(s.inci) for s in self.known if s.group == group)

    @property
    def percent_cleansing(self) -> float:
        """Sum the percent of the surfactants that wash (0..100); a conditioning polymer counted among them does not."""
        washing = (s for s in self.known if s.group == "surfactants" and "surfactant - cleansing" in s.functions)
        return self.percent_of([*_GLUCOSIDE, *(inci_key(s.inci) for s in washing)])

    def notes(self, word: str) -> bool:
        """Return whether the notes on one of the substances hold a word."""
        return any(word in s.notes for s in self.known)


_ALKALI = ("SODIUM HYDROXIDE", "POTASSIUM HYDROXIDE")
_AMINE = (
    "TRIETHANOLAMINE",
    "ETHANOLAMINE",
    "AMINOMETHYL PROPANOL",
    "TROMETHAMINE",
    "TETRASODIUM EDTA",
    "SODIUM CARBONATE",
)
_ACID = ("PHOSPHORIC ACID", "GLYCOLIC ACID", "LACTIC ACID", "ACETIC ACID", "PHYTIC ACID", "CITRIC ACID")
_FLAMMABLE = (
    "ALCOHOL",
    "ALCOHOL DENAT.",
    "ISOPROPYL ALCOHOL",
    "ISODODECANE",
    "UNDECANE",
    "TRIDECANE",
    "ACETONE",
    "ETHYL ACETATE",
)
_SULFITE = ("SODIUM METABISULFITE", "SODIUM SULFITE")
_AROMATIC = ("PARFUM", "MENTHOL", "CAMPHOR", "METHYL SALICYLATE", "CINNAMOMUM ZEYLANICUM LEAF OIL")
_GLUCOSIDE = ("COCO-GLUCOSIDE", "DECYL GLUCOSIDE", "LAURYL GLUCOSIDE", "CAPRYLYL/CAPRYL GLUCOSIDE")
_RETINOID = ("RETINOL", "RETINYL PALMITATE")
_ISOTHIAZOLINONE = ("METHYLCHLOROISOTHIAZOLINONE", "METHYLISOTHIAZOLINONE")
_FORMALDEHYDE = (
    "DIAZOLIDINYL UREA",
    "IMIDAZOLIDINYL UREA",
    "DMDM HYDANTOIN",
    "SODIUM HYDROXYMETHYLGLYCINATE",
    "2-BROMO-2-NITROPROPANE-1,3-DIOL",
)

Rule = tuple[Callable[[CautionSubject], bool], Caution]

_RULES: tuple[Rule, ...] = (
    (
        lambda m: m.percent_of(_ALKALI) >= 2,
        Caution(
            "Corrosive alkali: burns skin and eyes. Wear goggles, gloves and long sleeves. Put the alkali into cold "
            "water, never water onto the alkali; it heats up strongly. Keep children and aluminium away."
        ),
    ),
    (
        lambda m: m.percent_of(_AMINE) >= 20,
        Caution("Alkaline as supplied: irritates skin and eyes. Wear gloves and goggles; add in small steps."),
    ),
    (
        lambda m: m.percent_of(_ACID) >= 20,
        Caution(
            "Acid as supplied: irritates or burns skin and eyes. Wear gloves and goggles; put the acid into water, "
            "never water onto the acid; keep it apart from alkali."
        ),
    ),
    (
        lambda m: m.percent_of(["HYDROGEN PEROXIDE"]) >= 3,
        Caution("Oxidiser: bleaches and irritates; keep it cool, dark and vented, away from metals and alkali."),
    ),
    (
        lambda m: m.percent_of(_SULFITE) >= 50,
        Caution("Gives off sulphur dioxide with acids, which can bring on asthma: work with fresh air."),
    ),
    (
        lambda m: m.percent_of(_FLAMMABLE) >= 20,
        Caution("Flammable liquid and vapour: no flame, spark or hot plate near it; add when cool, with fresh air."),
    ),
    (
        lambda m: m.form == "powder",
        Caution("Fine powder: do not breathe the dust. Wear a dust mask and goggles, move it slowly, wipe up wet."),
    ),
    (
        lambda m: m.percent_in("preservatives") >= 5,
        Caution(
            "Preservative concentrate: irritating or sensitising undiluted. Wear gloves and goggles, weigh it exactly, "
            "and keep within the legal limit of each substance in it."
        ),
    ),
    (
        lambda m: m.percent_of(_ISOTHIAZOLINONE) > 0,
        Caution("Isothiazolinone: a strong skin sensitiser even when dilute. Gloves and goggles; rinse-off only."),
    ),
    (
        lambda m: m.percent_of(_FORMALDEHYDE) > 0,
        Caution("Releases formaldehyde, a sensitiser; the label may need a warning."),
    ),
    (
        lambda m: m.percent_in("essential oils and fragrance") >= 5 or m.percent_of(_AROMATIC) >= 5,
        Caution(
            "Concentrated aroma: can irritate and sensitise skin and eyes. Wear gloves; follow the supplier's highest "
            "dose and its list of allergens."
        ),
    ),
    (lambda m: m.notes("phototoxic"), Caution("Can burn skin in sunlight unless the furocoumarins are taken out.")),
    (
        lambda m: m.percent_cleansing >= 15,
        Caution("Concentrated surfactant: irritates the eyes. Wear goggles when pouring or weighing."),
    ),
    (
        lambda m: m.percent_in("waxes, fatty alcohols, fatty acids") >= 40 and m.form == "solid",
        Caution("Molten wax and hot oil scald: use a water bath, never a direct flame, and do not leave it alone."),
    ),
    (
        lambda m: m.notes("nut oil") or m.percent_of(["ARACHIS HYPOGAEA OIL"]) > 0,
        Caution("Comes from nuts or peanut: tell people with a food allergy."),
    ),
    (
        lambda m: m.notes("wheat") or m.notes("cereal"),
        Caution("Comes from wheat or another cereal: tell people with a food allergy."),
    ),
    (
        lambda m: m.percent_of(_RETINOID) > 0,
        Caution("Vitamin A: weigh exactly, protect from light and air, count every source of it in the formula."),
    ),
    (
        lambda m: m.percent_of(["ISOBUTYLPARABEN"]) > 0,
        Caution("Holds Isobutylparaben, which is prohibited in the EU.", _REGULATION_358_2014),
    ),
)


def cautions_for(subject: CautionSubject) -> tuple[Caution, ...]:
    """Collect the warnings that apply to a material, legal ones last."""
    usual = tuple(caution for applies, caution in _RULES if applies(subject))
    legal = tuple(Caution(f"{s.inci}: {s.eu_cap_flag}", _LEGAL) for s in subject.known if s.eu_cap_flag)
    return usual + legal
