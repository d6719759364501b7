"""What a dossier holds and what it lacks, by the headings of Annex I part A of Regulation (EC) 1223/2009."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from app.science.preservation import Preserved
from app.store.stock import DocumentKind
from app.work.products.dossier import Dossier

NAMED = 6  # so many names of what is missing are written out


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of part A: its number, what it asks for, where in the dossier it is, and what is missing."""

    number: int
    title: str
    where: str
    missing: tuple[str, ...]


def headings(found: Dossier) -> tuple[Heading, ...]:
    """Return every heading of part A with what the dossier lacks for it."""
    return tuple(
        Heading(number, title, where, tuple(missing(found)))
        for number, (title, where, missing) in enumerate(_HEADINGS, start=1)
    )


def _names(names: Iterable[str]) -> str:
    listed = list(dict.fromkeys(names))
    more = f" and {len(listed) - NAMED} more" if len(listed) > NAMED else ""
    return ", ".join(listed[:NAMED]) + more


def _composition(found: Dossier) -> Iterable[str]:
    without_parts = [row.line.name for row in found.materials if not row.line.parts]
    if without_parts:
        yield f"Composition of {_names(without_parts)}."
    short = [row.line.name for row in found.materials if row.line.parts and row.unnamed]
    if short:
        yield f"The rest of the composition of {_names(short)}: less than 100 % is named."
    without_cas = [row.total.inci for row in found.substances if not row.cas]
    if without_cas:
        yield f"CAS numbers of {_names(without_cas)}."
    without_function = [row.total.inci for row in found.substances if not row.functions]
    if without_function:
        yield f"Functions of {_names(without_function)}."
    perfumes = [row.line.name for row in found.materials if row.is_perfume and not row.suppliers]
    if perfumes:
        yield f"Supplier and code of the perfume: {_names(perfumes)}."
    yield "EC numbers: no table here holds them."


def _physical(found: Dossier) -> Iterable[str]:
    if not found.formula.checks:
        yield "A specification of the product: none is written in the formula."
    if not found.batches:
        yield "Results of batches: none was made yet."
    unread = [one.check.what for row in found.batches[:1] for one in row.results if one.reading is None]
    if unread:
        yield f"In the newest batch, readings of {_names(unread)}."
    unspecified = [row.line.name for row in found.materials if not found.has(DocumentKind.SPECIFICATION, row.line.name)]
    if unspecified:
        yield f"Specifications of the materials: {_names(unspecified)}."
    if not found.product.shelf_months and not found.product.open_months:
        yield "How long the product keeps: neither months from making nor a period after opening is set."
    if not found.seen:
        yield from _without_tests(found, "Stability results in the packaging it is sold in, at storage conditions met.")


def _without_tests(found: Dossier, words: str) -> Iterable[str]:
    if not found.documents_of(DocumentKind.TEST):
        yield f"{words} No test report is linked to the product or its batches."


def _microbes(found: Dossier) -> Iterable[str]:
    status = found.preservation.status if found.preservation else Preserved.NO_WATER
    if status in (Preserved.NO_WATER, Preserved.LOW_RISK):
        yield from _without_tests(found, f"The reasons for {status.value} (ISO 29621), or a microbial count.")
        return
    if status is not Preserved.PRESERVED:
        yield f"Preservation: {status.value}, as far as pH, amounts and water tell."
    yield from _without_tests(found, "A challenge test (ISO 11930 or the pharmacopoeia), and microbial counts.")


def _impurities(found: Dossier) -> Iterable[str]:
    for kind, words in (
        (DocumentKind.CERTIFICATE, "Certificates of analysis of lots used"),
        (DocumentKind.DATA_SHEET, "Safety data sheets"),
    ):
        if kind is DocumentKind.CERTIFICATE and found.documents_of(kind):
            continue
        without = [row.line.name for row in found.materials if not found.has(kind, row.line.name)]
        if kind is DocumentKind.CERTIFICATE:
            yield f"{words}: none is linked."
        elif without:
            yield f"{words}: {_names(without)}."
    if not found.formula.packaging:
        yield "The packaging of the product: none is chosen."
    yield "What the packaging is made of, its purity and whether it suits the product."
    yield "Traces of prohibited substances and why they cannot be avoided."


def _use(found: Dossier) -> Iterable[str]:
    if not found.formula.product_type and not found.formula.product_kind:
        yield "The kind of product."
    if not found.product.front_words and not found.product.claims:
        yield "The words on the label."


def _exposure(found: Dossier) -> Iterable[str]:
    yield "Site and area of use, amount, duration and frequency, who is exposed, and by which routes."


def _substance_exposure(found: Dossier) -> Iterable[str]:
    yield "The dose of each substance, from its percentage and the exposure to the product."


def _toxicology(found: Dossier) -> Iterable[str]:
    for kind, names in found.unsheeted.items():
        yield f"Allergen sheets: {_names(names)} ({kind})."
    yield "The toxicological profile of each substance and its margin of safety."


def _effects(found: Dossier) -> Iterable[str]:
    open_cases = [one.number for one in found.complaints.cases if one.closed_at is None]
    if open_cases:
        yield f"The end of {_names(open_cases)}: still open."


def _more(found: Dossier) -> Iterable[str]:
    if found.product.claims or found.product.front_words:
        yield from _without_tests(found, "Evidence for the claims (Art. 20, Regulation (EU) 655/2013).")
    yield "A statement on good manufacturing practice (ISO 22716), and data on any animal testing (Art. 11(2))."


_HEADINGS: tuple[tuple[str, str, Callable[[Dossier], Iterable[str]]], ...] = (
    ("Quantitative and qualitative composition", "Composition", _composition),
    ("Physical and chemical characteristics and stability", "Specification and results; Stability", _physical),
    ("Microbiological quality", "Preservation", _microbes),
    ("Impurities, traces, packaging material", "Materials; Packaging; Documents", _impurities),
    ("Normal and reasonably foreseeable use", "Product; Label", _use),
    ("Exposure to the product", "Product", _exposure),
    ("Exposure to the substances", "Composition", _substance_exposure),
    ("Toxicological profile of the substances", "Limits checked; Allergens; Documents", _toxicology),
    ("Undesirable effects", "Complaints", _effects),
    ("Other information", "Product; Documents", _more),
)
