"""Materials of names that only the inventory of INCI names knows: the substance alone, nothing else known of it."""

from decimal import Decimal
from functools import lru_cache

from app.reference.cautions import CautionSubject, cautions_for
from app.reference.inci_names import SOURCE, inci_names
from app.reference.inference_prior import class_of
from app.reference.label_names import LabelNames
from app.reference.material import LibraryMaterial
from app.reference.provenance import PRACTICE
from app.science.composition import Part, PartKind
from app.science.names import inci_key

PREFIX = "inventory:"
LIQUIDS = frozenset({"oil", "ester", "hydrocarbon", "silicone", "polyol", "solvent", "alcohol", "plant_water"})
SOLIDS = frozenset({"wax", "fatty_alcohol", "emulsifier", "cationic"})
LATE = frozenset({"preservative", "paraben", "preservative_trace", "booster", "perfume", "essential_oil", "extract"})
KINDS = {"AROMA": PartKind.FLAVOUR, "PARFUM": PartKind.PERFUME}
COLOURS = frozenset({"dye", "colour"})
ALONE = (
    "Only its name is known here, so all of it is counted as {inci}: many are sold diluted or as a solution. Put in "
    "the supplier's composition."
)


@lru_cache(maxsize=2000)
def inventory_material(key: str) -> LibraryMaterial | None:
    """Return a material that is nothing but a substance of the inventory, by the `inci_key` of its name.

    None where the inventory does not hold the name. The key of the material is ``inventory:`` with that of the name.
    """
    listed, found = inci_names().get(key), LabelNames().find(key)
    if listed is None or found is None:
        return None
    class_name = class_of(key)
    kind = PartKind.COLOURANT if class_name in COLOURS else KINDS.get(key, PartKind.INGREDIENT)
    form = "liquid" if class_name in LIQUIDS | {"perfume"} else "solid" if class_name in SOLIDS else "powder"
    parts = (Part(found.inci, Decimal(100), kind=kind, cas=listed.cas),)
    return LibraryMaterial(
        key=f"{PREFIX}{key}",
        name=found.inci,
        aliases=(),
        parts=parts,
        assumption=ALONE.format(inci=found.inci),
        group="",
        form=form,
        phase_hint="cool-down" if class_name in LATE else "any",
        functions=listed.functions,
        use_low=None,
        use_high=None,
        ph_min=None,
        ph_max=None,
        max_temp_c=None,
        density=None,
        cautions=cautions_for(CautionSubject(parts, (), form)),
        notes="",
        sources={"parts": SOURCE, "functions": SOURCE, "form": PRACTICE, "phase_hint": PRACTICE},
    )


def inventory_key(material_key: str) -> str:
    """Return the `inci_key` of the name of such a material; empty for the key of any other."""
    return inci_key(material_key.removeprefix(PREFIX)) if material_key.startswith(PREFIX) else ""
