"""What stands around the draft of a formula on its page."""

from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from app.work.formulas.readings import PhReading, ph_readings
from app.work.formulas.versions import VersionOrigin, VersionRow, list_versions, origin_of
from app.work.rules.formula_checks import GivenAnswers, read_given_answers


@dataclass(frozen=True, slots=True)
class Around:
    """What stands around a draft: its versions, where it was branched from, answers to findings, readings."""

    versions: list[VersionRow] = field(default_factory=list)
    origin: VersionOrigin | None = None
    given: GivenAnswers = field(default_factory=GivenAnswers)
    readings: tuple[PhReading, ...] = ()


def read_around(session: Session, formula_id: int) -> Around:
    """Read what stands around a draft."""
    return Around(
        versions=list_versions(session, formula_id),
        origin=origin_of(session, formula_id),
        given=read_given_answers(session, formula_id),
        readings=ph_readings(session, formula_id),
    )
