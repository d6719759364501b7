"""Footnotes and sentences that follow a list: found, kept apart, never read as names."""

import re
from dataclasses import replace

from app.science.label_list.marks import bare
from app.science.label_list.naming import known
from app.science.label_list.pieces import SIGNS
from app.science.label_list.values import Piece, SubstanceNames

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


def without_footnotes(pieces: list[Piece], book: SubstanceNames) -> tuple[list[Piece], list[str]]:
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


def _parted(piece: Piece, book: SubstanceNames) -> tuple[Piece | None, str]:
    """Cut a piece where a footnote or a sentence begins inside it."""
    cuts = []
    for cut in START.finditer(piece.text):
        note, name = piece.text[cut.start() :].strip(), piece.text[: cut.start()].rstrip(" \n.")
        if name and _is_note(note, book):
            cuts.append((replace(piece, text=name, end=piece.start + len(name)), note))
    sure = next((cut for cut in cuts if known(bare(cut[0].text).text, book)), None)
    if sure:
        return sure
    plain = REMARK.fullmatch(piece.text)
    if plain and _is_note(plain["note"], book) and known(bare(plain["name"]).text, book):
        return replace(piece, text=plain["name"], end=piece.start + len(plain["name"])), ""
    if _is_note(piece.text, book):
        return None, piece.text
    return cuts[0] if cuts else (piece, "")


def _is_note(text: str, book: SubstanceNames) -> bool:
    stripped = text.strip(SIGNS + " .:=")
    if not stripped or _is_name(stripped, book):
        return False
    signed = text.lstrip()[:1] in SIGNS
    words, telling = stripped.split(), len(NOTE_WORDS.findall(stripped))
    if telling >= (1 if signed else 2):
        return True
    # In a sentence most words are written small, unlike in a list of names.
    small = [word[:1].islower() for word in words[1:] if word[:1].isalpha()]
    return telling == 1 and len(words) >= MANY_WORDS and sum(small) > len(small) / 2


def _is_name(text: str, book: SubstanceNames) -> bool:
    return book.find(text.strip(SIGNS + " .")) is not None
