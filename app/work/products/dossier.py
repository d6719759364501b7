"""The dossier of a product: what a workshop knows of it, put together for a safety assessor.

Headings: Annex I part A of Regulation (EC) 1223/2009. Part B, the assessment, is a qualified person's (Art. 10(2)).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sqlalchemy import or_, select
from sqlalchemy.orm import Session, selectinload

from app.reference.allergens import allergen_index
from app.reference.inci_names import inci_names
from app.reference.library import find_substance
from app.science.composition import PartKind, SubstanceTotal, expand
from app.science.errors import Invalid
from app.science.formula import Formula, Line, Phase
from app.science.names import inci_key
from app.science.preservation import Preservation
from app.science.rules.allergens import DeclaredAllergen, present_allergens, unsheeted
from app.science.rules.values import Exposure
from app.science.specification import Check
from app.science.tolerance import checks_of
from app.store.batches import Batch, BatchLine, BatchState
from app.store.formulas import FormulaVersion
from app.store.materials import MaterialRow
from app.store.packing import PackingRun, RetainedSample, SampleLook
from app.store.products import Product
from app.store.quality import CaseFile
from app.store.stock import Document, DocumentKind, DocumentLink, Lot, Supplier
from app.store.workshop import Workshop, the_workshop
from app.work.batch_sheet import cautions_of
from app.work.batches.batch_readings import yield_percent
from app.work.batches.record import CheckRecord
from app.work.clock import today
from app.work.formulas.declaring import Declared
from app.work.formulas.editing import open_draft
from app.work.formulas.faults import IncompleteFormula
from app.work.formulas.results import by_weight, read_complete
from app.work.formulas.versions import formula_of, ingredient_list, latest_version
from app.work.labels.content import LabelSet, label_set
from app.work.ph.preservation import PreservationDetails, preservation_details
from app.work.ph.report import PhReport, ph_report
from app.work.products.selling import for_product, product_setting
from app.work.rules.checks import FormulaChecks
from app.work.rules.formula_checks import check_formula, read_given_answers
from app.work.tracing.cases import CaseRate, complaints_by_units_sold
from app.work.tracing.sending import units_sold

MOST_BATCHES = 10
MADE = (BatchState.QUARANTINE, BatchState.RELEASED, BatchState.REJECTED, BatchState.IN_PROCESS)


@dataclass(frozen=True, slots=True)
class SubstanceRow:
    """A substance: % w/w of the product, CAS number, function, and the materials that bring it."""

    total: SubstanceTotal
    cas: str
    functions: tuple[str, ...]

    @property
    def is_nano(self) -> bool:
        """Whether any of it is nano."""
        return any(one.part.nano for one in self.total.contributions)


@dataclass(frozen=True, slots=True)
class SuppliedMaterial:
    """A material at its place in the formula, with who it is bought from; ``unnamed`` is % of it without a name."""

    phase: str
    line: Line
    suppliers: tuple[str, ...]
    unnamed: Decimal

    @property
    def is_perfume(self) -> bool:
        """Whether it holds a perfume or a flavour."""
        return any(part.kind in (PartKind.PERFUME, PartKind.FLAVOUR) for part in self.line.parts)


@dataclass(frozen=True, slots=True)
class BatchResults:
    """A batch with its results, in the order of the specification."""

    batch: Batch
    made_on: date
    yield_percent: Decimal | None
    results: tuple[CheckRecord, ...]


@dataclass(frozen=True, slots=True)
class LinkedDocument:
    """A document with what it is about, in words."""

    document: Document
    about: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SampleSeen:
    """What was seen of a retained sample of a batch, so many days after it was kept."""

    batch: str
    look: SampleLook
    days: int


@dataclass(frozen=True, slots=True)
class Complaints:
    """What came back of a product: the units that went out, the cases against them, and the cases themselves."""

    units_out: int
    rate: CaseRate | None
    cases: tuple[CaseFile, ...]


@dataclass(frozen=True, slots=True)
class MethodPhase:
    """A phase of the method with the cautions that stand above it."""

    phase: Phase
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Dossier:
    """Everything of a product that an assessor asks for, as of a day.

    ``allergens`` are all that are known, by the EU's list; ``unsheeted`` what has no allergen sheet, by kind.
    ``labels`` are those of the newest batch, or of none; None where they cannot be worked out.
    """

    product: Product
    formula: Formula
    workshop: Workshop
    day: date
    substances: tuple[SubstanceRow, ...]
    materials: tuple[SuppliedMaterial, ...]
    specification: tuple[Check, ...]
    batches: tuple[BatchResults, ...]
    checks: FormulaChecks
    declared: Declared
    allergens: tuple[DeclaredAllergen, ...]
    unsheeted: dict[str, tuple[str, ...]]
    ph: PhReport | None
    keeping: PreservationDetails | None
    method: tuple[MethodPhase, ...]
    documents: tuple[LinkedDocument, ...]
    labels: LabelSet | None
    seen: tuple[SampleSeen, ...]
    complaints: Complaints

    @property
    def preservation(self) -> Preservation | None:
        """How it is preserved as far as pH, amounts, charge and water tell; None where nothing has to do with water."""
        return self.ph.preservation if self.ph else None

    def documents_of(self, *kinds: DocumentKind) -> tuple[LinkedDocument, ...]:
        """Return the documents of some kinds."""
        return tuple(one for one in self.documents if one.document.kind in kinds)

    def has(self, kind: DocumentKind, material: str) -> bool:
        """Return whether there is a document of a kind about a material of this name."""
        return any(material in one.about for one in self.documents_of(kind))


def dossier(session: Session, product_id: int) -> Dossier:
    """Return the dossier of a product: of the newest version of its formula, or of the draft where none was saved.

    Raises:
        IncompleteFormula: when only a draft is there and it does not add up.
        Invalid: at ``fill``, when the content is a volume and the formula has no density.
        NotFound: when there is no such product.
    """
    setting = product_setting(session, product_id)
    product = setting.product
    version = latest_version(session, product.formula_id)
    base = formula_of(version) if version else read_complete(session, open_draft(session, product.formula_id))
    formula = for_product(base, setting)
    exposure, index = Exposure(formula.exposure), allergen_index("EU")
    batches = _batches(session, product.formula_id)
    ids = {line.material.id for line in formula.lines}
    net_g = float(formula.size.net_g) if formula.size else 1000.0
    found = session.scalars(
        select(CaseFile).where(CaseFile.product_id == product_id).order_by(CaseFile.known_on.desc(), CaseFile.id.desc())
    )
    rate = next(iter(complaints_by_units_sold(session, product_id)), None)
    return Dossier(
        product=product,
        formula=formula,
        workshop=the_workshop(session),
        day=today(),
        substances=tuple(_substance(total) for total in by_weight(expand(formula.dosed))),
        materials=tuple(_materials(formula, _suppliers(session, ids))),
        specification=checks_of(formula),
        batches=tuple(_results(batch, checks_of(formula)) for batch in batches),
        checks=check_formula(formula, read_given_answers(session, product.formula_id)),
        declared=ingredient_list(session, formula),
        allergens=present_allergens(formula.dosed, exposure, index),
        unsheeted=unsheeted(formula.dosed, index),
        ph=ph_report(formula.dosed, exposure=formula.exposure, target=formula.target_ph, batch_g=net_g),
        keeping=preservation_details(formula.dosed),
        method=tuple(MethodPhase(phase, cautions_of(phase)) for phase in formula.phases),
        documents=_documents(session, product, ids, batches),
        labels=_labels(session, product_id, batches),
        seen=_seen(session, product_id),
        complaints=Complaints(units_sold(session, product_id), rate, tuple(found)),
    )


def _seen(session: Session, product_id: int) -> tuple[SampleSeen, ...]:
    """Return what was seen of the retained samples of a product, sample by sample."""
    rows = session.execute(
        select(RetainedSample, Batch.number)
        .join(PackingRun, PackingRun.id == RetainedSample.run_id)
        .join(Batch, Batch.id == PackingRun.batch_id)
        .where(PackingRun.product_id == product_id)
        .order_by(Batch.id, RetainedSample.id)
    )
    return tuple(
        SampleSeen(number, look, (look.looked_on - sample.kept_on).days)
        for sample, number in rows
        for look in sample.looks
    )


def _labels(session: Session, product_id: int, batches: Sequence[Batch]) -> LabelSet | None:
    try:
        return label_set(session, product_id, batches[0].id if batches else None)
    except (IncompleteFormula, Invalid):
        return None


def _substance(total: SubstanceTotal) -> SubstanceRow:
    substance, listed = find_substance(total.inci), inci_names().get(inci_key(total.inci))
    given = next((one.part.cas for one in total.contributions if one.part.cas), None)
    cas = given or (substance and substance.cas) or (listed and listed.cas) or ""
    functions = (substance.functions if substance else ()) or (listed.functions if listed else ())
    return SubstanceRow(total, cas, functions)


def _materials(formula: Formula, suppliers: dict[int, tuple[str, ...]]) -> Iterable[SuppliedMaterial]:
    for phase in formula.phases:
        for line in phase.lines:
            unnamed = Decimal(100) - sum((part.percent for part in line.parts), Decimal(0))
            yield SuppliedMaterial(phase.letter, line, suppliers.get(line.material.id, ()), max(unnamed, Decimal(0)))


def _suppliers(session: Session, material_ids: set[int]) -> dict[int, tuple[str, ...]]:
    """Return from whom each material was bought, by its lots."""
    rows = session.execute(
        select(Lot.material_id, Supplier.name)
        .join(Supplier, Supplier.id == Lot.supplier_id)
        .where(Lot.material_id.in_(sorted(material_ids)))
        .distinct()
        .order_by(Supplier.name)
    )
    found: dict[int, tuple[str, ...]] = {}
    for material_id, name in rows:
        if material_id is not None:
            found[material_id] = (*found.get(material_id, ()), name)
    return found


def _batches(session: Session, formula_id: int) -> Sequence[Batch]:
    """Return the last ten batches that were begun, newest first."""
    return session.scalars(
        select(Batch)
        .join(FormulaVersion, Batch.version_id == FormulaVersion.id)
        .where(FormulaVersion.formula_id == formula_id, Batch.state.in_(MADE))
        .order_by(Batch.id.desc())
        .limit(MOST_BATCHES)
        .options(selectinload(Batch.lines).selectinload(BatchLine.weighings), selectinload(Batch.readings))
        .options(selectinload(Batch.version))
    ).all()


def _results(batch: Batch, wanted: Sequence[Check]) -> BatchResults:
    """Return the results of a batch for the checks wanted today, each judged by the limits it was made under."""
    own = {one.what.casefold(): one for one in checks_of(formula_of(batch.version))}
    checks = (own.get(one.what.casefold(), one) for one in wanted)
    results = tuple(CheckRecord(one, batch.reading_for(one)) for one in checks)
    return BatchResults(batch, batch.made_on, yield_percent(batch), results)


def _documents(
    session: Session, product: Product, material_ids: set[int], batches: Sequence[Batch]
) -> tuple[LinkedDocument, ...]:
    """Return the documents about the product, its materials, its last batches and the lots that went into them."""
    lots = {one.lot_id for batch in batches for line in batch.lines for one in line.weighings if one.lot_id is not None}
    links = session.execute(
        select(DocumentLink, Document, MaterialRow.name, Lot.code, Batch.number)
        .join(Document, Document.id == DocumentLink.document_id)
        .outerjoin(MaterialRow, MaterialRow.id == DocumentLink.material_id)
        .outerjoin(Lot, Lot.id == DocumentLink.lot_id)
        .outerjoin(Batch, Batch.id == DocumentLink.batch_id)
        .where(
            Document.retired_at.is_(None),
            or_(
                DocumentLink.product_id == product.id,
                DocumentLink.material_id.in_(sorted(material_ids)),
                DocumentLink.lot_id.in_(sorted(lots)),
                DocumentLink.batch_id.in_(sorted(batch.id for batch in batches)),
            ),
        )
        .order_by(Document.kind, Document.name, Document.id, DocumentLink.id)
    )
    found: dict[int, LinkedDocument] = {}
    for link, document, material, lot, batch in links:
        about = material or (f"lot {lot}" if lot else f"batch {batch}" if link.batch_id else product.name)
        before = found.get(document.id)
        found[document.id] = LinkedDocument(document, ((*before.about, about) if before else (about,)))
    return tuple(found.values())
