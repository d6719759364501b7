"""INCI names as keys."""

import unicodedata


def inci_key(name: str) -> str:
    """Return the key under which an INCI name is compared: NFC, upper case, single spaces.

    >>> inci_key("  Sodium   benzoate ")
    'SODIUM BENZOATE'
    """
    return " ".join(unicodedata.normalize("NFC", name).upper().split())
