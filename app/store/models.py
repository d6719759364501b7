"""Every model, so that the metadata is whole for migrations."""

from app.store import batches, formulas, materials, workshop
from app.store.base import Base

__all__ = ["Base", "batches", "formulas", "materials", "workshop"]
