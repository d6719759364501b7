"""Whose law is asked."""

from enum import StrEnum


class Jurisdiction(StrEnum):
    """The European Union (Regulation (EC) No 1223/2009) or the United States (21 CFR parts 700 to 740)."""

    EU = "EU"
    US = "US"
