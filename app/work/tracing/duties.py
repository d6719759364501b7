"""What a law asks for when somebody was harmed: until when it is reported, to whom, and how long records are kept.

Sources: Regulation (EC) No 1223/2009, Article 2(1)(o) and (p) and Article 23 (EU); 21 U.S.C. 364a (US). They are named
beside each duty. A day is counted, never a permission given: the authority decides.
"""

from dataclasses import dataclass
from datetime import date, timedelta

from app.store.quality import CaseFile, CaseKind
from app.store.workshop import Jurisdiction

US_BUSINESS_DAYS = 15
ASK = "Ask your authority what applies to you."
DOCTOR = "A person was hurt: they should see a doctor. Keep the unit; the doctor may ask for the ingredients."
# Of the EU as Article 2(1)(p) has it; of the US as 21 U.S.C. 364(5), from memory.
SERIOUS = {
    Jurisdiction.EU: "Serious: functional incapacity for a time or for good, disability, a stay in hospital, an "
    "anomaly from birth, an immediate risk to life, or death.",
    Jurisdiction.US: "Serious: death, a risk to life, a stay in hospital, lasting disability, a birth defect, "
    "infection, or lasting disfigurement such as burns, persistent rash or hair loss; or what needs treatment to "
    "prevent these.",
}


@dataclass(frozen=True, slots=True)
class CaseDuty:
    """A duty to report: in words, the last day where the law counts days, for how long to keep it, and the source."""

    words: str
    due_on: date
    keep: str
    source: str


def business_days_after(day: date, count: int) -> date:
    """Return the day that lies so many working days, Monday to Friday, after another.

    Public holidays are not left out, so that the day is never later than the law's.
    """
    weeks, rest = divmod(count, 5)
    last = day + timedelta(weeks=weeks)
    if last.weekday() > 4:
        last -= timedelta(days=last.weekday() - 4)
    for _ in range(rest):
        last += timedelta(days=1 if last.weekday() < 4 else 7 - last.weekday())
    return last


def duty_of(case: CaseFile) -> CaseDuty | None:
    """Return what the law of its market asks for; None where nothing has to be reported."""
    if case.kind is not CaseKind.EFFECT or not case.is_serious:
        return None
    if case.market is Jurisdiction.US:
        return CaseDuty(
            "Report a serious adverse event to the FDA within 15 business days after it was received, with a copy of "
            "the label; send on what medical news comes within a year.",
            business_days_after(case.known_on, US_BUSINESS_DAYS),
            "Keep the record 6 years, a small business 3 years.",
            "21 U.S.C. 364a (the year of follow-up and the times of keeping from memory)",
        )
    return CaseDuty(
        "Notify a serious undesirable effect to the authority of the country where it happened without delay: the "
        "effect, the product, and what was done about it.",
        case.known_on,
        "It belongs to the safety report, which is kept 10 years after the last batch.",
        "Regulation (EC) No 1223/2009, Article 23; Annex I, A 9; Article 11",
    )


def is_overdue(case: CaseFile, day: date) -> bool:
    """Return whether a duty to report has run out unfulfilled."""
    duty = duty_of(case)
    return duty is not None and case.reported_on is None and duty.due_on < day
