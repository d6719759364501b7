"""Every model, so that the metadata is whole for migrations."""

from app.store import (
    batches,
    bench_ph,
    distribution,
    formulas,
    handover,
    label_lists,
    labels,
    labour,
    materials,
    packing,
    products,
    quality,
    recipes,
    rulebook,
    stock,
    workshop,
)
from app.store.base import Base

__all__ = [
    "Base",
    "batches",
    "bench_ph",
    "distribution",
    "formulas",
    "handover",
    "label_lists",
    "labels",
    "labour",
    "materials",
    "packing",
    "products",
    "quality",
    "recipes",
    "rulebook",
    "stock",
    "workshop",
]
