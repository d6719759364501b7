"""What a button of the formula page asks for besides saving what is typed."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from werkzeug.datastructures import MultiDict

from app.science.errors import Invalid
from app.store.engine import Store
from app.web.formulas.forms import PostedFormula, choices_of, new_id
from app.work.formulas import moves, rows, scaling
from app.work.formulas.draft import Draft
from app.work.formulas.editing import DraftConflict, SaveOrigin, open_draft, redo, save_draft, undo
from app.work.formulas.merge import merge
from app.work.formulas.paste import preview, with_rows
from app.work.formulas.pinned_materials import match_materials
from app.work.formulas.results import Results, results_of
from app.work.formulas.suggesting import accept_suggestion, choices
from app.work.formulas.usual_phases import sort_into_phases


@dataclass(frozen=True, slots=True)
class Done:
    """What was done: whether rows changed, where the focus goes, a sentence that says so, and where to go on."""

    redraw: bool = False
    focus: str = ""
    said: str = ""
    then: str = ""
    named: Mapping[str, str] = field(default_factory=dict)


Deed = Callable[[Draft, str], Draft]

ROW_ACTIONS: dict[str, Deed] = {
    "line-up": lambda draft, row: moves.move_line(draft, row, -1),
    "line-down": lambda draft, row: moves.move_line(draft, row, 1),
    "line-remove": moves.remove_line,
    "line-sum": moves.work_out_sum,
    "line-double": lambda draft, row: rows.double_lines(draft, [row], new_id),
    "phase-up": lambda draft, row: moves.move_phase(draft, row, -1),
    "phase-down": lambda draft, row: moves.move_phase(draft, row, 1),
    "phase-remove": moves.remove_phase,
}


THEN = {"rows": "rows", "paste": "paste"}


def act(store: Store, formula_id: int, form: PostedFormula, raw: MultiDict[str, str]) -> Done:
    """Save the posted draft and do what its button says.

    Raises:
        DraftConflict: when another page saved in the meantime; nothing is written.
        Invalid: at its field, when it cannot be done.
        NotFound: when there is no such formula.
    """
    word, _, rest = form.do.partition(":")
    if word in SPECIAL:
        return SPECIAL[word](store, formula_id, form, raw)
    named = {line_id: accept_suggestion(store, value, "") for line_id, value in choices_of(raw).items()}
    draft = form.draft
    for line_id, name in named.items():
        draft = moves.rename_line(draft, line_id, name) if name else draft
    changed, said = _changed(AskedAction(store, formula_id, draft, word, rest, raw))
    save_draft(store, formula_id, changed, form.origin, change=said if said and not word.startswith("take") else "")
    redraw = bool(word and word != "recalculate")
    focus = _focus(word, rest, draft, changed)
    message = f"{said}." if said else ""
    return Done(redraw, focus, message, THEN.get(word, ""), named)


@dataclass(frozen=True, slots=True)
class AskedAction:
    """What a button asks for: its word, what stands behind the colon, the draft as typed, and the whole form."""

    store: Store
    formula_id: int
    draft: Draft
    word: str
    rest: str
    raw: MultiDict[str, str]


Answer = tuple[Draft, str]


def _changed(asked: AskedAction) -> Answer:
    """Return the draft as a button changes it, and what was done in words (empty when nothing is to be said)."""
    if asked.word in ROW_ACTIONS:
        changed = ROW_ACTIONS[asked.word](asked.draft, asked.rest)
        return changed, _action_words(asked.word, asked.rest, asked.draft) if changed != asked.draft else ""
    if asked.word.startswith("picked-"):
        word = asked.word.removeprefix("picked-")
        ids = asked.raw.getlist("pick")
        count = f"{len(ids)} line" if len(ids) == 1 else f"{len(ids)} lines"
        if not ids:
            raise Invalid("", "Select lines first, with the boxes at their left.")
        if word == "double":
            return rows.double_lines(asked.draft, ids, new_id), f"Duplicated {count}"
        if word == "remove":
            return rows.remove_lines(asked.draft, ids), f"Removed {count}"
        if word == "to":
            letter = asked.draft.letter_of(asked.rest)
            return rows.lines_to_phase(asked.draft, ids, asked.rest), f"Moved {count} to phase {letter}"
        return rows.move_lines(asked.draft, ids, -1 if word == "up" else 1), f"Moved {count} {word}"
    return BUTTONS[asked.word](asked) if asked.word in BUTTONS else (asked.draft, "")


def _take(asked: AskedAction) -> Answer:
    line_id, _, value = asked.rest.partition(":")
    typed = next((line.typed for line in asked.draft.lines if line.id == line_id), "")
    return moves.rename_line(asked.draft, line_id, accept_suggestion(asked.store, value, typed)), ""


def _sort_phases(asked: AskedAction) -> Answer:
    hints = {line.draft.id: line.material.phase_hint for line in _worked_out(asked).lines if line.material}
    return sort_into_phases(asked.draft, hints, new_id), "Sorted into the usual phases"


def _paste(asked: AskedAction) -> Answer:
    phase, _, line_id = asked.rest.partition(":")
    return paste_in_place(asked.store, asked.draft, asked.raw.get("rows", ""), phase, line_id)


def _scale(asked: AskedAction) -> Answer:
    kept = asked.raw.getlist("pick") if asked.word == "scale-rest" else []
    lines = _worked_out(asked).lines
    percents = {line.draft.id: line.percent for line in lines if not line.is_remainder and line.percent is not None}
    return scaling.make_hundred(asked.draft, percents, kept), "Scaled to 100 %"


BUTTONS: dict[str, Callable[[AskedAction], Answer]] = {
    "take": _take,
    "add-phase": lambda asked: (moves.add_phase(asked.draft, new_id()), ""),
    "paste-rows": _paste,
    "sort-phases": _sort_phases,
    "as-percentages": lambda asked: (
        moves.as_percentages(_worked_out(asked).resolution),
        "Converted amounts to percentages",
    ),
    "scale-all": _scale,
    "scale-rest": _scale,
    "fill-up": lambda asked: (scaling.fill_up(asked.draft, asked.raw.get("filler", "")), "One line fills up to 100"),
}


def paste_in_place(store: Store, draft: Draft, text: str, phase: str, line_id: str) -> tuple[Draft, str]:
    """Put pasted rows below a line; a name that is in doubt stays as pasted and is asked at its line."""
    shown = preview(text, len(draft.lines), partial(choices, store))
    read = [
        (accept_suggestion(store, row.sure.value, row.name) if row.sure else row.name, row.amount, row.phase)
        for row in shown.rows
    ]
    if not draft.lines and shown.are_weights:
        draft = replace(draft, basis="amounts", batch="")
    home = phase if phase in {one.id for one in draft.phases} else draft.phases[0].id
    longer = with_rows(draft, read, home, new_id)
    added = longer.lines[len(draft.lines) :]
    doubtful = sum(row.sure is None for row in shown.rows)
    words = f"Pasted {len(added)} {'row' if len(added) == 1 else 'rows'}"
    asked = f"; {doubtful} {'name' if doubtful == 1 else 'names'} to choose" if doubtful else ""
    return rows.put_after(draft, added, line_id), words + asked


def _worked_out(asked: AskedAction) -> Results:
    with asked.store.reading() as session:
        current = open_draft(session, asked.formula_id)
        known = {line.id: line.material_id for line in current.draft.lines}
        lines = tuple(replace(line, material_id=known.get(line.id)) for line in asked.draft.lines)
        return results_of(session, current, typed=replace(asked.draft, lines=lines))


def _action_words(word: str, rest: str, draft: Draft) -> str:
    line = next((line for line in draft.lines if line.id == rest), None)
    name = (line and line.typed) or "the row"
    return {
        "line-sum": f"Worked out {line.amount}" if line else "",
        "line-remove": f"Removed {name}",
        "line-up": f"Moved {name} up",
        "line-down": f"Moved {name} down",
        "phase-remove": "Removed a phase",
        "phase-up": "Moved a phase up",
        "phase-down": "Moved a phase down",
        "line-double": f"Duplicated {name}",
    }.get(word, "")


def _focus(word: str, rest: str, before: Draft, after: Draft) -> str:
    if word == "take":
        return f"line.{rest.partition(':')[0]}.amount"
    if word in {"line-up", "line-down"}:
        return f"line.{rest}.typed"
    if word == "line-double":
        return f"line.{_neighbour(after, rest)}.amount"
    if word == "line-remove":
        return f"line.{_neighbour(before, rest)}.typed"
    if word == "add-phase":
        return f"phase.{after.phases[-1].id}.name"
    return {"recalculate": "total", "rows": "lines"}.get(word, "")


def _neighbour(draft: Draft, line_id: str) -> str:
    """Return the line that comes after a line on the page, or before it when it is the last."""
    ids = [line.id for phase in draft.phases for line in draft.lines_of(phase.id)]
    place = ids.index(line_id) if line_id in ids else -1
    near = [*ids[place + 1 : place + 2], *ids[max(place - 1, 0) : max(place, 0)]]
    return near[0] if near else ""


def _undo(store: Store, formula_id: int, form: PostedFormula, raw: MultiDict[str, str]) -> Done:
    save_draft(store, formula_id, form.draft, form.origin)
    with store.reading() as session:
        undone = open_draft(session, formula_id).undo
    undo(store, formula_id, form.origin.editor)
    return Done(redraw=True, said=f"Undone: {undone[:1].lower() if undone[1:2].islower() else undone[:1]}{undone[1:]}.")


def _redo(store: Store, formula_id: int, form: PostedFormula, raw: MultiDict[str, str]) -> Done:
    save_draft(store, formula_id, form.draft, form.origin)
    redo(store, formula_id, form.origin.editor)
    return Done(redraw=True, said="Redone.")


def own_words(store: Store, form: PostedFormula) -> Draft:
    """Return the posted draft with the materials its lines had when the page was opened."""
    with store.reading() as session:
        return match_materials(session, form.draft, form.base)


def _settle(store: Store, formula_id: int, form: PostedFormula, raw: MultiDict[str, str]) -> Done:
    """Settle two saves of one draft: merged by field, mine as it is typed, or theirs as it stands.

    The choice was made about the state that was shown; when that has changed again, it is shown again.
    """
    with store.reading() as session:
        theirs = open_draft(session, formula_id)
    if raw.get("their_version", "") != str(theirs.row_version):
        raise DraftConflict(theirs)
    which = form.do.partition(":")[2]
    if which == "theirs":
        return Done(redraw=True, said="Their version is in the fields now.")
    base = form.base or theirs.draft
    picks = {name.removeprefix("pick."): value for name, value in raw.items() if name.startswith("pick.")}
    own = own_words(store, form)
    mine = own if which == "mine" else merge(base, theirs.draft, own, picks).draft
    said = "Kept yours" if which == "mine" else "Merged both"
    save_draft(store, formula_id, mine, SaveOrigin(theirs.row_version, form.origin.editor), change=said)
    return Done(redraw=True, said=f"{said}.")


SPECIAL: dict[str, Callable[[Store, int, PostedFormula, MultiDict[str, str]], Done]] = {
    "undo": _undo,
    "redo": _redo,
    "settle": _settle,
}
