"""The page of one material, with the form of a new price as it was typed."""

from flask import render_template

from app.science.composition import Part
from app.store.materials import MaterialRow
from app.web import context
from app.work.materials import shelf
from app.work.materials.composition import remarks, width_text
from app.work.materials.origin import origins
from app.work.materials.prices import PriceForm


def render_page(material: MaterialRow, form: PriceForm | None = None, faults: dict[str, str] | None = None) -> str:
    """Return the page of a material, with the price form as it was typed."""
    return render_template(
        "materials/show.html",
        material=material,
        use=shelf.load_use(context.store(), material.id),
        origins={origin.label: origin for origin in origins(material)},
        remarks=remarks(tuple(Part(part.inci, part.percent, cas=part.cas) for part in material.parts)),
        width_text=width_text,
        total=sum(part.percent for part in material.parts),
        form=form or PriceForm(supplier=material.supplier),
        faults=faults or {},
    )
