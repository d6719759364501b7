"""The page of one material, with the form of a new price as it was typed."""

from flask import render_template

from app.science.composition import Part
from app.store.materials import Material
from app.web import context
from app.work.materials import shelf
from app.work.materials.composition import width_text
from app.work.materials.origin import origins
from app.work.materials.prices import LABELS, TypedPrice
from app.work.materials.reading import remarks


def render_page(material: Material, typed: TypedPrice | None = None, faults: dict[str, str] | None = None) -> str:
    """Render the page of a material, with the price form as it was typed."""
    return render_template(
        "materials/show.html",
        material=material,
        use=shelf.load_use(context.store(), material.id),
        origins={origin.label: origin for origin in origins(material)},
        remarks=remarks(_parts(material)),
        width_text=width_text,
        total=sum(part.percent for part in material.parts),
        typed=typed or TypedPrice(supplier=material.supplier),
        faults=faults or {},
        labels=LABELS,
    )


def _parts(material: Material) -> tuple[Part, ...]:
    return tuple(Part(part.inci, part.percent, cas=part.cas) for part in material.parts)
