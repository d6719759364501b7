"""Numbers for bar codes (GTIN): digits, length and check digit.

Source: GS1 General Specifications, section 7.9.1 (standard check digit calculation for GS1 data structures).
"""

from app.science.errors import Invalid

LENGTHS = (8, 12, 13, 14)


def check_digit(digits: str) -> int:
    """Return the GS1 check digit of the digits before it: weights 3 and 1 from the right, up to the next ten.

    >>> check_digit("629104150021")
    3
    """
    weighted = (int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(digits)))
    return -sum(weighted) % 10


def read_barcode_number(text: str, field: str = "") -> str:
    """Return the digits of a number for a bar code of 8, 12, 13 or 14 digits; empty for nothing.

    Raises:
        Invalid: at ``field``, when it has other signs or another length, or its last digit is not the check digit.
    """
    digits = "".join(sign for sign in text if sign not in " -")
    if not digits:
        return ""
    if not (digits.isascii() and digits.isdigit()) or len(digits) not in LENGTHS:
        raise Invalid(field, "A bar code has 8, 12, 13 or 14 digits; enter them as they stand under the bars.")
    if int(digits[-1]) != check_digit(digits[:-1]):
        raise Invalid(field, f"The last digit does not fit the others; it would be {check_digit(digits[:-1])}.")
    return digits
