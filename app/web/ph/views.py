"""The pH pages: what a formula may be adjusted with, and the session at the bench."""

from app.web.ph import batch_section, bench, pages
from app.web.ph.area import blueprint

__all__ = ["batch_section", "bench", "blueprint", "pages"]
