"""Every rule asked of one formula: what was found, what was answered, what could not be looked at, what to count."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.reference.claims import claim_rules
from app.reference.rulebook import JURISDICTIONS
from app.science.rules.certificates import check_certificates
from app.science.rules.check import ORDER, Rulebook, check_formula, label_statements, names_of
from app.science.rules.claims import SoapStanding, check_claims, claims_a_drug, soap_standing
from app.science.rules.counts import Counts, count, is_oil
from app.science.rules.natural_origin import NaturalOrigin, natural_origin
from app.science.rules.selectors import Ingredient, ingredients
from app.science.rules.values import Severity
from app.science.rules.warnings import LabelStatement
from app.work.rules.answers import AnsweredFinding, Answers, attach_answers
from app.work.rules.book import book_of
from app.work.rules.corrections import Correction
from app.work.rules.question import Question

NO_WORDS = "Front label text: none are written, so no claim could be looked at but the name."
NO_KIND = "Kind of product: none chosen and none recognised, so limits for particular kinds are only named."
# From this much lye, % w/w, a formula with fats is taken for soap in the making (common practice).
LYE_OF_SOAP = Decimal(2)
LYES = frozenset({"SODIUMHYDROXIDE", "POTASSIUMHYDROXIDE"})
MORE_THAN_CLEAN = re.compile(
    r"moistur|hydrat|soften|sooth|nourish|condition|deodor|fragran|perfum|scent|smooth|beaut", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Checks:
    """What the rules of one jurisdiction say: findings with answers, the label's statements, what was not checked.

    ``gaps`` are what the tables leave out of every formula.
    """

    jurisdiction: str
    findings: tuple[AnsweredFinding, ...]
    statements: tuple[LabelStatement, ...]
    not_checked: tuple[str, ...]
    gaps: tuple[str, ...] = ()

    def open(self, *severities: str) -> tuple[AnsweredFinding, ...]:
        """Return the findings of some severities that have no answer yet."""
        return tuple(t for t in self.findings if t.answer is None and t.finding.severity in severities)

    def besides(self, home: "Checks") -> "Checks":
        """Leave out what is said at home already; the statements of the label stay whole."""
        there = {one.fingerprint for one in home.findings}
        findings = tuple(one for one in self.findings if one.fingerprint not in there)
        gaps = tuple(line for line in self.not_checked if line not in home.not_checked)
        return replace(self, findings=findings, not_checked=gaps)

    @property
    def answered(self) -> tuple[AnsweredFinding, ...]:
        """The findings that were answered."""
        return tuple(t for t in self.findings if t.answer is not None)

    @property
    def summary(self) -> str:
        """How many findings of each kind are open, in words."""
        counted = [(len(self.open(s)), str(s)) for s in Severity]
        words = [f"{n} {word}{'s' if n > 1 else ''}" for n, word in counted if n]
        answered = [f"{len(self.answered)} answered"] if self.answered else []
        return ", ".join([*words, *answered]) or "nothing found"


@dataclass(frozen=True, slots=True)
class FormulaChecks:
    """A formula under the rules of the workshop's own jurisdiction, with what it consists of.

    ``others`` hold what the other jurisdictions say besides; rules of the trade are the same everywhere.
    """

    home: Checks
    others: tuple[Checks, ...]
    question: Question
    origin: NaturalOrigin | None
    counts: Counts | None
    soap: SoapStanding | None

    @property
    def everywhere(self) -> tuple[Checks, ...]:
        """The checks of every jurisdiction, the workshop's own first."""
        return (self.home, *self.others)

    def find(self, mark: str) -> AnsweredFinding | None:
        """Find a finding by its fingerprint."""
        return next((t for checks in self.everywhere for t in checks.findings if t.fingerprint == mark), None)


def check(
    asked: Question, home: str, answers: Answers | None = None, corrections: tuple[Correction, ...] = ()
) -> FormulaChecks:
    """Ask every rule of every jurisdiction; ``home`` is the workshop's own."""
    order = (home, *(one for one in JURISDICTIONS if one != home))
    books = [book_of(one, corrections) for one in order]
    all_ = [_checks(asked, book, answers or {}) for book in books]
    present = ingredients(asked.facts.materials, books[0].classes, books[0].facts_for(names_of(asked.facts)))
    return FormulaChecks(
        home=all_[0],
        others=tuple(other.besides(all_[0]) for other in all_[1:]),
        question=asked,
        origin=natural_origin(present) if present else None,
        counts=count(present) if present else None,
        soap=_soap(present, asked),
    )


def _checks(asked: Question, book: Rulebook, answers: Answers) -> Checks:
    verdict = check_formula(asked.facts, book)
    claims = check_claims(asked.texts, book.jurisdiction, claim_rules())
    certificates = check_certificates(asked.certified, asked.kind.certificate_category)
    findings = sorted((*claims, *certificates, *verdict.findings), key=lambda f: ORDER[f.severity])
    unsaid = [NO_WORDS] if not asked.has_claims else []
    unsaid += [NO_KIND] if not asked.facts.products else []
    return Checks(
        jurisdiction=book.jurisdiction,
        findings=attach_answers(tuple(dict.fromkeys(findings)), answers),
        statements=label_statements(asked.facts, book),
        not_checked=(*asked.missing, *verdict.not_checked, *unsaid),
        gaps=book.gaps,
    )


def _soap(present: Sequence[Ingredient], asked: Question) -> SoapStanding | None:
    """Tell soap from cosmetic where the formula holds soap, or fats with enough lye, or is called soap."""
    lye = sum((i.percent for i in present if i.key in LYES), Decimal(0))
    fats = sum((i.percent for i in present if is_oil(i)), Decimal(0)) if lye >= LYE_OF_SOAP else None
    called = any(re.search(r"\bsoap", text, re.IGNORECASE) for text in asked.texts)
    if not (fats or called or any(i.is_a("soap") for i in present)):
        return None
    more = any(MORE_THAN_CLEAN.search(text) for text in asked.texts)
    return soap_standing(present, claims_a_drug(asked.texts, claim_rules()), more, fats)
