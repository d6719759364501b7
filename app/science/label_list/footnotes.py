"""Footnotes and sentences that follow a list: found, kept apart, never read as names."""

import re
from collections.abc import Iterator
from dataclasses import replace

from app.science.label_list.marks import bare
from app.science.label_list.naming import known
from app.science.label_list.pieces import SIGNS
from app.science.label_list.values import NameBook, Piece

SIGN = f"[{re.escape(SIGNS)}]"
NOTE_WORDS = re.compile(
    r"\b(organic|certified|certifi[eé]|farming|agricultur\w*|natural|naturelle?s?|naturally|origin|origine|derived|"
    r"biologi\w+|biologique|bio|fair ?trade|essential oils?|huiles? essentielles?|from|issus?|aus|kontrolliert\w*|"
    r"ingredients?|ingr[eé]dients|contains?|made|free|tested|total|components?|component of|occurring|vegan|keep|avoid|"
    r"store|use|warning|caution|batch|lot|sustainab\w+|wild|crafted|gmo|see|product|formula|without)\b",
    re.IGNORECASE,
)
START = re.compile(
    rf"(?:(?<=[\n.;)])|(?<=\s))\s*{SIGN}+\s*[:=]?\s*(?=[^\W\d_])|(?<=[^\d\s]{{3}}[.\n])\s+(?=[A-Z(0-9])"
    r"|(?<=[^\d\s]{3})\n\s*(?=[A-Z(0-9])"
)
REMARK = re.compile(r"(?P<name>[^()\[\]]+?)\s*[(\[](?P<note>[^()\[\]]+)[)\]]\s*")
MANY_WORDS = 4


def without_footnotes(pieces: list[Piece], book: NameBook) -> tuple[list[Piece], list[str]]:
    """Part names from footnotes; once a footnote has begun, what follows belongs to it unless it is a known name."""
    kept: list[Piece] = []
    notes: list[str] = []
    for piece in pieces:
        name, note = _parted(piece, book)
        if notes and name and not _is_name(name.text, book):
            notes.append(piece.text)
            continue
        kept += [name] if name else []
        notes += [note] if note else []
    return kept, [" ".join(note.split()) for note in notes]


def _parted(piece: Piece, book: NameBook) -> tuple[Piece | None, str]:
    """Cut a piece where a footnote or a sentence begins inside it."""
    cuts = list(_cuts(piece, book))
    sure = next((cut for cut in cuts if known(bare(cut[0].text).text, book)), None)
    if sure:
        return sure
    plain = REMARK.fullmatch(piece.text)
    if plain and _is_note(plain["note"], book) and known(bare(plain["name"]).text, book):
        return replace(piece, text=plain["name"], end=piece.start + len(plain["name"])), ""
    if _is_note(piece.text, book):
        return None, piece.text
    return cuts[0] if cuts else (piece, "")


def _cuts(piece: Piece, book: NameBook) -> Iterator[tuple[Piece, str]]:
    for cut in START.finditer(piece.text):
        note = piece.text[cut.start() :].strip()
        name = piece.text[: cut.start()].rstrip(" \n.")
        if name and _is_note(note, book):
            yield replace(piece, text=name, end=piece.start + len(name)), note


def _is_note(text: str, book: NameBook) -> bool:
    stripped = text.strip(SIGNS + " .:=")
    if not stripped or _is_name(stripped, book):
        return False
    signed = text.lstrip()[:1] in SIGNS
    words = len(stripped.split())
    telling = len(NOTE_WORDS.findall(stripped))
    return telling >= (1 if signed else 2) or (telling == 1 and words >= MANY_WORDS and _is_sentence(stripped))


def _is_sentence(text: str) -> bool:
    """Say whether most words are written small, as in a sentence and unlike in a list of names."""
    words = [word for word in text.split()[1:] if word[:1].isalpha()]
    return bool(words) and sum(word[:1].islower() for word in words) > len(words) / 2


def _is_name(text: str, book: NameBook) -> bool:
    return book.find(text.strip(SIGNS + " .")) is not None
