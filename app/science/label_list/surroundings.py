"""What stands around a list on a pack or a page: blanked out, so that every sign of the list keeps its place."""

import re

TAGS = re.compile(r"<br\s*/?>|</?(?:p|li|ul|ol|div|span|b|i|em|strong|td|tr|table|h\d)\b[^<>]{0,80}>", re.IGNORECASE)
ENTITIES = re.compile(r"&(?:nbsp|#160|amp|#38|quot|#39|apos|ndash|mdash|middot|bull);")
KEPT_ENTITIES = {"&amp;": "&", "&#38;": "&", "&middot;": "•", "&bull;": "•"}
BUTTONS = re.compile(
    r"^[ \t]*(?:(?:read|show|see|view|learn) (?:more|less|all)|add to (?:cart|bag|basket)|copy(?: list)?|share|"
    r"what(?:'s| is) inside|skim through)[ \t]*$",
    re.IGNORECASE | re.MULTILINE,
)
AT_MOST = re.compile(
    r"(?:\b(?:contains?|enth[äa]lt|contient)\s+)?(?:\bless than|\bmoins de|\bweniger als|\bmenos (?:de|del)|<|≤)\s*"
    r"\d+(?:[.,]\d+)?\s*%(?:\s+of)?(?:\s+the following)?\s*[:：]",
    re.IGNORECASE,
)
PANEL = re.compile(r"\bdrug\s+facts\b|\binactive\s+ingredients?\b", re.IGNORECASE)
PANEL_TITLE = re.compile(r"\bdrug\s+facts\b(?:\s*\(continued\))?", re.IGNORECASE)
PANEL_SECTION = re.compile(
    r"(?:^|(?<=[.\s]))(?:uses?|warnings?|directions|other\s+information|questions)\b(?=\s*[:?\n•]|\s+[A-Za-z]).*?"
    r"(?=\binactive\s+ingredients?\b|\Z)",
    re.IGNORECASE | re.DOTALL,
)
PANEL_HEADING = re.compile(r"\b(?:in)?active\s+ingredients?(?:\s*\([^()\n]{1,40}\))?(\s)(?!\s*[:：])", re.IGNORECASE)
BLANKS = re.compile(r"\s{3,}")
PURPOSES = (
    r"(?:sunscreens?|antiperspirant|skin protectant|acne treatment|anti-?acne|antiseptic|antimicrobial|antibacterial|"
    r"anti-?cavity(?: toothpaste)?|anti-?dandruff|external analgesic|anti-?itch|astringent)"
)
PURPOSE = re.compile(
    rf"\bpurposes?\b[ \t:.]*(?:{PURPOSES}\b)?|\.{{3,}}[ \t]*{PURPOSES}?|(?<=[%)])[ \t]+{PURPOSES}\b",
    re.IGNORECASE,
)


def cleared(text: str) -> str:
    """Blank out what is no part of a list: mark-up, buttons, and what a drug facts panel has around its two lists.

    >>> cleared("Aqua,&nbsp;Mel<br>")
    'Aqua,      Mel    '
    """
    found = TAGS.sub(_blank, text)
    found = ENTITIES.sub(lambda m: KEPT_ENTITIES.get(m.group(), " ").ljust(len(m.group())), found)
    found = BUTTONS.sub(_blank, found)
    found = AT_MOST.sub(lambda m: ",".ljust(len(m.group())), found)
    if not PANEL.search(found):
        return found
    for shape in (PANEL_TITLE, PANEL_SECTION, PURPOSE):
        found = shape.sub(_blank, found)
    return PANEL_HEADING.sub(lambda m: m.group()[:-1] + ":", found)


def squeezed(text: str) -> tuple[str, list[int]]:
    """Return a text without long runs of blanks, and the place in it of every sign that is left and of its end.

    Of three and more blanks a line break stays, else a tab, else one blank: patterns would try every part of a run.

    >>> squeezed("Aqua    Mel")
    ('Aqua Mel', [0, 1, 2, 3, 4, 8, 9, 10, 11])
    """
    places: list[int] = []
    left, end = "", 0
    for run in BLANKS.finditer(text):
        kept = next((sign for sign in "\n\r\t" if sign in run.group()), " ")
        left += text[end : run.start()] + kept
        places += range(end, run.start() + 1)
        end = run.end()
    return left + text[end:], [*places, *range(end, len(text) + 1)]


def _blank(match: re.Match[str]) -> str:
    return re.sub(r"[^\n]", " ", match.group())
