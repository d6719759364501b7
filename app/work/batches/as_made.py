"""A batch as it was made: the formula of what really went in, and what differs from the version it was made from.

When a batch is decided, what it became is kept with it, so that no table of a later day says anything else of it.
"""

import json
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from decimal import Decimal

from sqlalchemy.orm import Session

from app.science.acid_base.values import Range
from app.science.formula import Formula, Line, Phase
from app.science.numbers import exact_arithmetic, to_places
from app.science.plain_data import from_plain, to_plain
from app.science.rules.values import Finding
from app.science.tolerance import Band, Weight, share_slack
from app.store.batches import PH, Batch, BatchLine
from app.store.stock import lots_by_id
from app.work.batches.deviations import band_of
from app.work.batches.planned_sheet import formula_of_batch
from app.work.formulas.declaring import declared_formula
from app.work.ph.batch_mixture import materials_of
from app.work.ph.report import PhReport, ph_report
from app.work.rules.answers import AnsweredFinding
from app.work.rules.carried_answers import unanswered
from app.work.rules.formula_checks import check_formula, read_given_answers
from app.work.stock.lot_composition import parts_as_weighed

HUNDRED, ZERO = Decimal(100), Decimal(0)
PLACES = 6


@dataclass(frozen=True, slots=True)
class LineAsMade:
    """A line with % w/w of the version and as made; either is None where the line is not there."""

    name: str
    percent: Decimal | None
    made_percent: Decimal | None
    grams: Decimal


@dataclass(frozen=True, slots=True)
class AsMade:
    """What a batch became.

    Attributes:
        lines: of the version and as made, side by side.
        findings: every stop and caution as made that nobody answered and the version does not have.
        new_gaps: what the preservation lacks as made and not in the version.
        list_planned, list_made: the ingredient lists, under the law of the version.
        ph_planned, ph_made: the predicted pH; None without water or where none can be predicted.
        open: every stop and caution as made that nobody answered, while nothing is decided.
    """

    lines: tuple[LineAsMade, ...]
    findings: tuple[Finding, ...]
    new_gaps: tuple[str, ...]
    list_planned: str
    list_made: str
    ph_planned: Range | None
    ph_made: Range | None
    open: tuple[AnsweredFinding, ...] = field(default=(), compare=False)

    @property
    def same_list(self) -> bool:
        """Whether the ingredient list is that of the version."""
        return self.list_planned == self.list_made

    @property
    def only_order(self) -> bool:
        """Whether the ingredient list has the same names as that of the version, in another order."""
        planned, made = (sorted(one.removesuffix(".").split(", ")) for one in (self.list_planned, self.list_made))
        return not self.same_list and planned == made

    def to_json(self) -> str:
        """Return it as one JSON text."""
        return json.dumps(to_plain(self), ensure_ascii=False, separators=(",", ":"))


def made_formula(session: Session, batch: Batch) -> Formula | None:
    """Return the formula of what is in the batch; None while nothing is.

    Additions and corrections count, and so do water that was lost while heating and water that was put back.

    A lot with a composition of its own, as its certificate says it, counts with that and not with the material's.
    """
    shelf = materials_of(session, batch)
    held = [(line, line.held_g or ZERO) for line in batch.lines if line.held_g and line.material_id in shelf]
    if not held:
        return None
    percents = _percents([grams for _, grams in held])
    # Loaded at once and held, so that each line finds its lots without asking again.
    lots = lots_by_id(session, {one.lot_id for line, _ in held for one in line.standing if one.lot_id is not None})
    planned = formula_of_batch(batch)
    made: dict[str, list[Line]] = {}
    for (line, _), percent in zip(held, percents, strict=True):
        material = shelf[line.material_id]
        material = replace(material, parts=parts_as_weighed(lots, line, material.parts))
        made.setdefault(line.phase, []).append(Line(_key(line), material, percent))
    known = [replace(phase, lines=tuple(made.pop(phase.letter, ()))) for phase in planned.phases]
    phases = (*known, *(Phase(letter, lines=tuple(lines)) for letter, lines in made.items()))
    read = [one.value for one in batch.readings if one.kind == PH and one.value is not None]
    return replace(planned, phases=phases, target_ph=read[-1] if read else planned.target_ph)


def _key(line: BatchLine) -> str:
    return line.line_key or f"bench-{line.id}"


def _percents(grams: list[Decimal]) -> list[Decimal]:
    """Return grams as % w/w that add up to 100; the largest takes what the rounding leaves."""
    with exact_arithmetic():
        whole = sum(grams, ZERO)
        found = [to_places(HUNDRED * one / whole, PLACES) for one in grams]
        found[found.index(max(found))] += HUNDRED - sum(found, ZERO)
    return found


def made_findings(session: Session, batch: Batch) -> tuple[AnsweredFinding, ...]:
    """Return the stops and cautions of a batch as made that nobody answered."""
    formula = made_formula(session, batch)
    return _open_as_made(session, batch, formula)[1] if formula else ()


def _open_as_made(session: Session, batch: Batch, formula: Formula) -> tuple[tuple[AnsweredFinding, ...], ...]:
    """Return the stops and cautions that nobody answered: of the version, and of the batch as made."""
    planned = formula_of_batch(batch)
    given = read_given_answers(session, planned.formula_id)
    version, made = (check_formula(one, given).home for one in (planned, formula))

    def amounts(finding: Finding) -> tuple[Decimal, Decimal]:
        before, after = (_percent_of(one, finding) for one in (planned, formula))
        return before, after

    found = made.open("stop", "caution")
    still = unanswered(found, version.answered, amounts, lambda finding: _slack(batch, finding.materials))
    return version.open("stop", "caution"), still


def _percent_of(formula: Formula, finding: Finding) -> Decimal:
    return sum((line.percent for line in formula.lines if line.name in finding.materials), ZERO)


def _slack(batch: Batch, names: Collection[str]) -> Decimal:
    """Return how far weights within their bands can move the share of some materials; no names stand for any."""
    planned = [line for line in batch.lines if not line.added_at_bench and line.target_g > 0]
    bands = [(line, Weight(line.target_g, band_of(line) or Band(line.shown_g, line.shown_g))) for line in planned]
    mine = [weight for line, weight in bands if line.name in names]
    if not mine:
        return max((weight.band.high / weight.target_g - 1 for _, weight in bands), default=ZERO)
    return share_slack(mine, [weight for line, weight in bands if line.name not in names])


def as_made(session: Session, batch: Batch) -> AsMade | None:
    """Return what a batch became: as it was kept when it was decided, unless a weighing was corrected afterwards.

    None while nothing was weighed.
    """
    if batch.as_made and batch.decided_at is not None:
        weighings = (one for line in batch.lines for one in line.weighings)
        if all(one.at <= batch.decided_at for one in weighings):
            return from_plain(AsMade, json.loads(batch.as_made))
    return work_out_as_made(session, batch)


def work_out_as_made(session: Session, batch: Batch) -> AsMade | None:
    """Work out what a batch became with the functions of the formula, by the tables of today."""
    formula = made_formula(session, batch)
    if formula is None:
        return None
    planned = formula_of_batch(batch)
    before, found = _open_as_made(session, batch, formula)
    known = {_mark(one) for one in before}
    lines = []
    for line in batch.lines:
        if line.is_left_out:
            continue
        made = formula.line(_key(line))
        if line.is_swapped:
            lines.append(LineAsMade(line.planned_name, line.percent, None, ZERO))
        percent = None if line.added_at_bench or line.is_swapped else line.percent
        lines.append(LineAsMade(line.name, percent, made.percent if made else None, line.held_g or ZERO))
    ph_planned, ph_made = _ph(planned), _ph(formula)
    gaps = set(ph_planned.preservation.gaps) if ph_planned else set()
    return AsMade(
        lines=tuple(lines),
        findings=tuple(one.finding for one in found if _mark(one) not in known),
        new_gaps=tuple(gap for gap in ph_made.preservation.gaps if gap not in gaps) if ph_made else (),
        list_planned=declared_formula(planned, planned.jurisdiction).text,
        list_made=declared_formula(formula, formula.jurisdiction).text,
        ph_planned=ph_planned.prediction.ph if ph_planned and ph_planned.prediction else None,
        ph_made=ph_made.prediction.ph if ph_made and ph_made.prediction else None,
        open=found,
    )


def _mark(one: AnsweredFinding) -> tuple[str, str, tuple[str, ...]]:
    """Tell a finding by its rule and substances, not by an amount that every weighing changes a little."""
    finding = one.finding
    return finding.rule, str(finding.severity), tuple(sorted(finding.inci))


def _ph(formula: Formula) -> PhReport | None:
    materials = tuple(m for m in formula.dosed if m.percent > 0 and m.parts)
    if not materials:
        return None
    # Without a target nothing is titrated: what is made needs no advice on how much to add.
    return ph_report(materials, exposure=formula.exposure, target=None, batch_g=100.0)
