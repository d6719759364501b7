"""Reading a pasted ingredient list into names with their substances."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from app.science.errors import Invalid
from app.science.label_list.footnotes import without_footnotes
from app.science.label_list.marks import Bare, bare
from app.science.label_list.naming import (
    blend_parts,
    bracketed_names,
    comma_parts,
    first_known,
    known,
    known_as,
    plain,
    spellings,
)
from app.science.label_list.pieces import pieces_of
from app.science.label_list.surroundings import cleared, squeezed
from app.science.label_list.values import Certainty, Match, Piece, ReadList, ReadName, SubstanceNames
from app.science.names import inci_key

MOST_CHARACTERS = 20_000


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of a piece that names one substance."""

    text: str
    start: int
    within: str | None = None


def read_list(text: str, book: SubstanceNames) -> ReadList:
    """Read a list as pasted or typed.

    Unknown names stay as they are; repeated names are joined and the joining is noted.

    Raises:
        Invalid: when the text is longer than 20,000 characters or holds no name.
    """
    if len(text) > MOST_CHARACTERS:
        raise Invalid("text", "this is longer than any ingredient list; paste the list alone")
    short, places = squeezed(cleared(plain_keeping_places(text)))
    pieces, footnotes = without_footnotes(pieces_of(short), book)
    found: list[ReadName] = []
    for number, piece in enumerate(pieces):
        parts = list(_parts(piece, book))
        blend = number if len(parts) > 1 and not any(part.within for part in parts) else None
        marked = ((bare(part.text), part) for part in parts)
        found += [_read_name(mark, part, piece, blend, book) for mark, part in marked if mark.text]
    if not found:
        raise Invalid("text", "there is no ingredient name in this text")
    names, repeats = _joined(
        replace(name, start=places[name.start], end=places[min(name.end, len(short)) - 1] + 1) for name in found
    )
    notes = [f"'{n.printed}' was read as {n.inci}" for n in names if n.certainty is Certainty.SPELLING]
    notes += [f"{n.inci} is printed more than once; it was counted once, at its first place" for n in repeats]
    return ReadList(tuple(names), tuple(footnotes), tuple(notes))


def read_name(text: str, book: SubstanceNames) -> ReadName:
    """Read one name that is already parted from its list; a blend in it is not split."""
    marked = bare(plain(text))
    return _read_name(marked, _Part(text, 0), Piece(text, 0, len(text)), None, book)


def plain_keeping_places(text: str) -> str:
    """Write dashes and blanks in one way without moving any character."""
    same = plain(text)
    return same if len(same) == len(text) else "".join(plain(sign) or " " for sign in text)


def _parts(piece: Piece, book: SubstanceNames) -> Iterator[_Part]:
    marked = bare(piece.text)
    inside = bracketed_names(marked.text, book)
    if inside:
        outer, names = inside
        yield from _placed([outer] if outer else [], piece)
        yield from _placed(names, piece, within=outer or None)
        return
    if known(marked.text, book):
        yield _Part(piece.text, piece.start)
        return
    parts = comma_parts(piece.text, book)
    yield from _placed([p for part in parts for p in blend_parts(part, book)], piece)


def _placed(texts: Iterable[str], piece: Piece, within: str | None = None) -> Iterator[_Part]:
    """Find where in the pasted text each part stands."""
    at = 0
    for text in texts:
        at = max(piece.text.find(text, at), at)
        yield _Part(text, piece.start + at, within)
        at += len(text)


def _read_name(marked: Bare, part: _Part, piece: Piece, blend: int | None, book: SubstanceNames) -> ReadName:
    printed, found = known_as(marked.text, book)
    match = found or first_known(spellings(marked.text), book) or Match(inci_key(printed), printed, Certainty.UNKNOWN)
    return ReadName(
        printed=printed,
        key=match.key,
        inci=match.inci,
        certainty=match.certainty,
        start=part.start,
        end=part.start + len(part.text),
        percent=marked.percent,
        nano=marked.nano,
        may_contain=piece.may_contain,
        active=piece.active,
        marks=marked.marks,
        blend=blend,
        within=part.within,
    )


def _joined(found: Iterable[ReadName]) -> tuple[list[ReadName], list[ReadName]]:
    """Join names printed twice into the first of them; a shade after 'may contain' does not repeat a name before it."""
    first: dict[str, ReadName] = {}
    repeats = []
    for name in found:
        earlier = first.get(name.key)
        if earlier is None:
            first[name.key] = name
            continue
        repeats.append(name)
        percent = earlier.percent
        if percent is not None and name.percent is not None and not name.may_contain:
            percent += name.percent
        first[name.key] = replace(earlier, again=(*earlier.again, (name.start, name.end)), percent=percent)
    return list(first.values()), repeats
