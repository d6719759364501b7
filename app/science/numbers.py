"""The one reader of numbers as people type them, and the plain writing of decimals.

Python's own parsers take ``nan``, ``1e400``, ``1_0`` and digits of other scripts; a form must not. Everything
typed passes through :func:`parse_number`.
"""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Context, Decimal, localcontext

from app.science.errors import Invalid

MOST_DIGITS = 12
MOST_CHARACTERS = 40
WIDE_PRECISION = 120

_BLANKS = dict.fromkeys(map(ord, "\t\n\r\u00a0\u2002\u2003\u2007\u2008\u2009\u200a\u202f"), " ")
_MINUS = dict.fromkeys(map(ord, "\u2212\u2013\u2010\u2011"), "-")
_VULGAR = {
    "½": "1/2", "⅓": "1/3", "⅔": "2/3", "¼": "1/4", "¾": "3/4", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5",
    "⅘": "4/5", "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip

_PLAIN = re.compile(r"(?P<whole>\d*)(?P<mark>[.,]?)(?P<rest>\d*)", re.ASCII)
_SPACED = re.compile(r"\d{1,3}(?: \d{3})+(?=$|[.,])", re.ASCII)
_FRACTION = re.compile(r"(?:(?P<whole>\d{1,12}) )?(?P<top>\d{1,12}) ?/ ?(?P<bottom>\d{1,12})", re.ASCII)
_SUM = re.compile(r"^=|[\d.,)] ?[+*×] ?[\d(]|[()]|[.,]\d* ?/|/ ?\d*[.,]", re.ASCII)
_TOKEN = re.compile(r"\s*([\d.,]+|[-+*/()])", re.ASCII)
_EXPONENT = re.compile(r"[-+]?[\d.,]+e[-+]?\d+", re.ASCII | re.IGNORECASE)


@contextmanager
def exact_arithmetic() -> Iterator[None]:
    """Work in decimals wide enough that no sum or product of typed numbers is rounded (120 digits)."""
    with localcontext(Context(prec=WIDE_PRECISION)):
        yield


def normalise(text: str) -> str:
    """Bring blanks, minus signs and one-character fractions of a typed text into their plain forms."""
    plain = text.translate(_BLANKS).translate(_MINUS).replace("\u2044", "/")
    for sign, fraction in _VULGAR.items():
        plain = plain.replace(sign, f" {fraction} ")
    return " ".join(plain.split())


def parse_number(text: str, field: str = "", *, low: Decimal | None = None, high: Decimal | None = None) -> Decimal:
    """Read a number as typed: digits, one decimal comma or point, blanks, a trailing ``%``, ``1/2`` and ``1 1/2``.

    A sum is worked out as a spreadsheet would: ``6+1``, ``2*1.5``, ``(3+4)/2``. A minus in it needs a leading ``=``,
    since ``1-3`` is a range to most people.

    ``low`` and ``high`` are the limits, both allowed; a negative number is refused unless ``low`` is negative.

    Raises:
        Invalid: at ``field``, when the text is no number, could be read in two ways, or is out of range.
    """
    value = _signed_value(normalise(text), field, negative_allowed=low is not None and low < 0)
    if low is not None and value < low:
        raise Invalid(field, f"The number is {plain(value)}; the least allowed is {plain(low)}.")
    if high is not None and value > high:
        raise Invalid(field, f"The number is {plain(value)}; the most allowed is {plain(high)}.")
    return value


def sum_result(text: str) -> Decimal | None:
    """Return what a sum or fraction such as ``6+1`` comes to, to six significant figures; None where none is typed."""
    if not set(normalise(text)) & set("+*×/()="):
        return None
    try:
        return Decimal(figures(parse_number(text), 6))
    except Invalid:
        return None


def _signed_value(text: str, field: str, *, negative_allowed: bool) -> Decimal:
    _refuse_unreadable(text, field)
    bare = text.removesuffix("%").strip()
    if _SUM.search(bare):
        value = _Sum(bare, field).value()
        if value < 0 and not negative_allowed:
            raise Invalid(field, f"{text} is negative; enter 0 or more.")
        return value
    if bare.startswith("-"):
        if not negative_allowed:
            raise Invalid(field, f"{text} is negative; enter 0 or more.")
        return -_magnitude(bare[1:].strip(), field) + 0
    return _magnitude(bare.removeprefix("+").strip(), field)


def _refuse_unreadable(text: str, field: str) -> None:
    if not text or text == "%":
        raise Invalid(field, "Enter a number, such as 2.5.")
    if len(text) > MOST_CHARACTERS:
        raise Invalid(field, f"Enter a number with at most {MOST_DIGITS} digits.")
    if any(sign.isnumeric() and not sign.isascii() for sign in text):
        raise Invalid(field, "Enter the number with the digits 0 to 9.")
    if _EXPONENT.fullmatch(text):
        raise Invalid(field, f"Enter {text} in full, without the letter e.")


def _magnitude(text: str, field: str) -> Decimal:
    fraction = _FRACTION.fullmatch(text)
    if fraction:
        bottom = Decimal(fraction["bottom"])
        if not bottom:
            raise Invalid(field, f"{fraction.group()} divides by zero; enter another fraction.")
        return Decimal(fraction["whole"] or 0) + Decimal(fraction["top"]) / bottom
    grouped = _SPACED.match(text)
    joined = grouped.group().replace(" ", "") + text[grouped.end() :] if grouped else text
    match = _PLAIN.fullmatch(joined)
    if not match or not (match["whole"] or match["rest"]):
        raise _not_a_number(text, field)
    if not grouped:
        whole, rest = match["whole"], match["rest"]
        if match["mark"] == "," and len(rest) == 3 and 1 <= len(whole) <= 3 and not whole.startswith("0"):
            raise Invalid(
                field,
                f"{whole},{rest} can mean {whole}{rest} or {whole}.{rest}; enter {whole}{rest} or {whole}.{rest}.",
            )
    if len((match["whole"] + match["rest"]).lstrip("0")) > MOST_DIGITS:
        raise Invalid(field, f"Enter a number with at most {MOST_DIGITS} digits.")
    return Decimal(f"{match['whole'] or 0}.{match['rest']}")


class _Sum:
    """A sum with + - * / and brackets, worked out from left to right by the usual order."""

    def __init__(self, text: str, field: str) -> None:
        self.text, self.field = text, field
        self.tokens = _TOKEN.findall(text.removeprefix("=").replace("×", "*"))
        if "".join(self.tokens) != re.sub(r"\s", "", text.removeprefix("=").replace("×", "*")):
            raise self.unreadable()

    def unreadable(self) -> Invalid:
        return Invalid(self.field, f"{self.text} cannot be worked out; enter a number, or a sum such as 6+1.")

    def value(self) -> Decimal:
        found = self.added()
        if self.tokens:
            raise self.unreadable()
        return found

    def added(self) -> Decimal:
        found = self.multiplied()
        while self.tokens and self.tokens[0] in "+-":
            sign = self.tokens.pop(0)
            other = self.multiplied()
            found = found + other if sign == "+" else found - other
        return found

    def multiplied(self) -> Decimal:
        found = self.single()
        while self.tokens and self.tokens[0] in "*/":
            sign = self.tokens.pop(0)
            other = self.single()
            if sign == "/" and not other:
                raise Invalid(self.field, f"{self.text} divides by zero; enter another sum.")
            found = found * other if sign == "*" else found / other
        return found

    def single(self) -> Decimal:
        if not self.tokens:
            raise self.unreadable()
        piece = self.tokens.pop(0)
        if piece == "(":
            found = self.added()
            if not self.tokens or self.tokens.pop(0) != ")":
                raise self.unreadable()
            return found
        if piece in "+-*/)":
            raise self.unreadable()
        return _magnitude(piece, self.field)


def _not_a_number(text: str, field: str) -> Invalid:
    if len(re.findall(r"[.,]", text)) > 1 and not re.search(r"[^\d.,' ]", text):
        bare = re.sub(r"[.,' ](?=.*[.,])", "", text).rstrip(".,")
        return Invalid(
            field, f"{text} can be read in two ways; enter it with one decimal mark and no other, such as {bare}."
        )
    return Invalid(field, f"{text} is not a number; enter digits with one comma or point, such as 2.5.")


def plain(value: Decimal) -> str:
    """Write a decimal without exponent and without trailing zeros.

    >>> plain(Decimal("1.500")), plain(Decimal("1E+3")), plain(Decimal("-0.0"))
    ('1.5', '1000', '0')
    """
    text = f"{value:f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def plain_or_empty(value: Decimal | None) -> str:
    """Write a decimal as ``plain`` does; nothing where there is none.

    >>> plain_or_empty(Decimal("1.500")), plain_or_empty(None)
    ('1.5', '')
    """
    return "" if value is None else plain(value)


def to_places(value: Decimal, places: int) -> Decimal:
    """Round half up to a number of decimal places (0 or more); money and weights are rounded here and nowhere else."""
    return to_step(value, Decimal(1).scaleb(-places))


def to_step(value: Decimal, step: Decimal) -> Decimal:
    """Round half up (away from zero) to the nearest multiple of a positive step."""
    return _stepped(value, step, ROUND_HALF_UP)


def floor_to_step(value: Decimal, step: Decimal) -> Decimal:
    """Return the largest multiple of a positive step that is not above the value."""
    return _stepped(value, step, ROUND_FLOOR)


def ceil_to_step(value: Decimal, step: Decimal) -> Decimal:
    """Return the smallest multiple of a positive step that is not below the value."""
    return _stepped(value, step, ROUND_CEILING)


def _stepped(value: Decimal, step: Decimal, rounding: str) -> Decimal:
    with exact_arithmetic():
        return (value / step).to_integral_value(rounding=rounding) * step


def figures(value: Decimal, digits: int = 4) -> str:
    """Write a decimal rounded half up to a number of significant figures, for sentences.

    >>> figures(Decimal("1234.5678")), figures(Decimal("0.0123456"), 3)
    ('1235', '0.0123')
    """
    if not value:
        return "0"
    return plain(to_step(value, Decimal(1).scaleb(value.adjusted() - digits + 1)))
