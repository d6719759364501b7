"""What a button of the formula page asks for besides saving what is typed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

from werkzeug.datastructures import MultiDict

from app.store.engine import Store
from app.web.formulas.forms import Posted, choices_of, new_id
from app.work.formulas import moves
from app.work.formulas.deeds import DraftConflict, From, open_draft, redo, save_draft, undo
from app.work.formulas.draft import Draft
from app.work.formulas.merge import merge
from app.work.formulas.results import results_of
from app.work.formulas.shelf import settle
from app.work.formulas.suggesting import take


@dataclass(frozen=True, slots=True)
class Done:
    """What was done: whether rows changed, where the focus goes, a sentence that says so, and where to go on."""

    redraw: bool = False
    focus: str = ""
    said: str = ""
    then: str = ""
    named: Mapping[str, str] = field(default_factory=dict)


Deed = Callable[[Draft, str], Draft]

ROW_DEEDS: dict[str, Deed] = {
    "line-up": lambda draft, row: moves.move_line(draft, row, -1),
    "line-down": lambda draft, row: moves.move_line(draft, row, 1),
    "line-remove": moves.remove_line,
    "pack-remove": moves.remove_pack,
    "phase-up": lambda draft, row: moves.move_phase(draft, row, -1),
    "phase-down": lambda draft, row: moves.move_phase(draft, row, 1),
    "phase-remove": moves.remove_phase,
}


THEN = {"rows": "rows", "paste": "paste"}


def act(store: Store, formula_id: int, form: Posted, raw: MultiDict[str, str]) -> Done:
    """Save the posted draft and do what its button says.

    Raises:
        DraftConflict: when another page saved in the meantime; nothing is written.
        Invalid: at its field, when it cannot be done.
        NotFound: when there is no such formula.
    """
    word, _, rest = form.do.partition(":")
    if word in SPECIAL:
        return SPECIAL[word](store, formula_id, form, raw)
    named = {line_id: take(store, value, "") for line_id, value in choices_of(raw).items()}
    draft = form.draft
    for line_id, name in named.items():
        draft = moves.rename_line(draft, line_id, name) if name else draft
    changed = _changed(store, formula_id, draft, word, rest)
    save_draft(store, formula_id, changed, form.came, deed=_deed(word, rest, draft))
    redraw = bool(word and word != "recalculate")
    said, focus = _said(word, rest, draft), _focus(word, rest, draft, changed)
    told = f"{said}. Undo takes it back." if said else ""
    return Done(redraw, focus, told, THEN.get(word, ""), named)


def _changed(store: Store, formula_id: int, draft: Draft, word: str, rest: str) -> Draft:
    if word in ROW_DEEDS:
        return ROW_DEEDS[word](draft, rest)
    if word == "take":
        line_id, _, value = rest.partition(":")
        typed = next((line.typed for line in draft.lines if line.id == line_id), "")
        return moves.rename_line(draft, line_id, take(store, value, typed))
    if word == "add-phase":
        return moves.add_phase(draft, new_id())
    if word == "as-percentages":
        return _as_percentages(store, formula_id, draft)
    return draft


def _as_percentages(store: Store, formula_id: int, draft: Draft) -> Draft:
    with store.reading() as session:
        there = open_draft(session, formula_id)
        known = {line.id: line.material_id for line in there.draft.lines}
        lines = tuple(replace(line, material_id=known.get(line.id)) for line in draft.lines)
        return moves.as_percentages(results_of(session, there, typed=replace(draft, lines=lines)).resolution)


def _deed(word: str, rest: str, draft: Draft) -> str:
    return _said(word, rest, draft) if word.endswith(("-remove", "-up", "-down")) or word == "as-percentages" else ""


def _said(word: str, rest: str, draft: Draft) -> str:
    name = next((line.typed for line in draft.lines if line.id == rest), "") or "the row"
    return {
        "line-remove": f"Removed {name}",
        "line-up": f"Moved {name} up",
        "line-down": f"Moved {name} down",
        "phase-remove": "Removed a phase",
        "phase-up": "Moved a phase up",
        "phase-down": "Moved a phase down",
        "pack-remove": "Removed packaging",
        "as-percentages": "Turned amounts into percentages",
    }.get(word, "")


def _focus(word: str, rest: str, before: Draft, after: Draft) -> str:
    if word == "take":
        return f"line.{rest.partition(':')[0]}.amount"
    if word in {"line-up", "line-down"}:
        return f"line.{rest}.typed"
    if word == "line-remove":
        return f"line.{_neighbour(before, rest)}.typed"
    if word == "add-phase":
        return f"phase.{after.phases[-1].id}.name"
    return {"recalculate": "total", "rows": "lines"}.get(word, "")


def _neighbour(draft: Draft, line_id: str) -> str:
    """Give the line that comes after a line on the page, or before it when it is the last."""
    ids = [line.id for phase in draft.phases for line in draft.lines_of(phase.id)]
    place = ids.index(line_id) if line_id in ids else -1
    near = [*ids[place + 1 : place + 2], *ids[max(place - 1, 0) : max(place, 0)]]
    return near[0] if near else ""


def _undo(store: Store, formula_id: int, form: Posted, raw: MultiDict[str, str]) -> Done:
    save_draft(store, formula_id, form.draft, form.came)
    undo(store, formula_id, form.came.editor)
    return Done(redraw=True, said="Undone.")


def _redo(store: Store, formula_id: int, form: Posted, raw: MultiDict[str, str]) -> Done:
    save_draft(store, formula_id, form.draft, form.came)
    redo(store, formula_id, form.came.editor)
    return Done(redraw=True, said="Done again.")


def own_words(store: Store, form: Posted) -> Draft:
    """Give the posted draft with the materials its lines had when the page was opened."""
    with store.reading() as session:
        return settle(session, form.draft, form.base)


def _settle(store: Store, formula_id: int, form: Posted, raw: MultiDict[str, str]) -> Done:
    """Settle two saves of one draft: merged by field, mine as it is typed, or theirs as it stands.

    The choice was made about the state that was shown; when that has changed again, it is shown again.
    """
    with store.reading() as session:
        theirs = open_draft(session, formula_id)
    if raw.get("their_version", "") != str(theirs.row_version):
        raise DraftConflict(theirs)
    which = form.do.partition(":")[2]
    if which == "theirs":
        return Done(redraw=True, said="Taken as it stands there.")
    base = form.base or theirs.draft
    picks = {name.removeprefix("pick."): value for name, value in raw.items() if name.startswith("pick.")}
    own = own_words(store, form)
    mine = own if which == "mine" else merge(base, theirs.draft, own, picks).draft
    said = "Kept yours" if which == "mine" else "Merged both"
    save_draft(store, formula_id, mine, From(theirs.row_version, form.came.editor), deed=said)
    return Done(redraw=True, said=f"{said}. Undo takes it back.")


SPECIAL: dict[str, Callable[[Store, int, Posted, MultiDict[str, str]], Done]] = {
    "undo": _undo,
    "redo": _redo,
    "settle": _settle,
}
