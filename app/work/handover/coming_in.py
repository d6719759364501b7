"""A file in: what taking it would do, and doing it in one transaction."""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import cast

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from app.science.formula import Formula
from app.science.names import inci_key
from app.store.formulas import Exposure, FormulaRow, FormulaVersion
from app.store.handover import FormulaImport
from app.store.materials import MaterialRow, PackagingRow, PriceRow
from app.store.products import Product, ProductPackaging, products_of
from app.store.workshop import Workshop, the_workshop
from app.work.action import action
from app.work.clock import now
from app.work.csv_text import LineFault, Unreadable, write_table
from app.work.equipment import PackagingForm, note_pack_price
from app.work.form import Faults
from app.work.form_fields import is_yes
from app.work.formulas.declaring import DeclaredLists
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import LONGEST_CODE, insert
from app.work.formulas.pinned_materials import match_materials
from app.work.formulas.resolve import MOST_LINES
from app.work.formulas.steps import add_step, code_taken, opened
from app.work.formulas.versions import version_lines
from app.work.handover.going_out import add_draft, versions_out, with_ids
from app.work.handover.kept_sheets import KeptFormula
from app.work.handover.records_in import Here, IncomingRecord, KnownNames, RecordPlan, add_records, plan_records
from app.work.handover.records_read import record_faults, values_of
from app.work.handover.tables import HEAD, PRODUCT_FIELDS, Row, Tables, empty_tables, read_tables
from app.work.handover.undoing import KINDS, mark
from app.work.materials.shelf import new_material
from app.work.materials.transfer import COLUMNS as MATERIAL_COLUMNS
from app.work.materials.transfer import Incoming as IncomingMaterial
from app.work.materials.transfer import read_file
from app.work.materials.transfer_prices import COLUMNS as PRICE_COLUMNS
from app.work.materials.transfer_prices import read_prices
from app.work.products.product_form import ProductForm

LONGEST_TEXT = 10_000
EXPOSURES = frozenset(one.value for one in Exposure)
_PACK = re.compile(r"(?P<count>[\d.]+)\s*x\s*(?P<name>.+)")


@dataclass(frozen=True, slots=True)
class IncomingVersion:
    """A version of a file: its row, its formula as numbers, and materials that have another name on the shelf now."""

    number: int
    row: Row
    kept_at: datetime
    value: Formula
    shelf: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class IncomingFormula:
    """A formula of a file: its draft and products, and how it stands to what is here.

    ``state`` is ``new``, ``same`` (here just so) or ``other`` (another formula has its code); ``unknown`` are the
    materials that are neither on the shelf nor in the file, ``beside`` the code it gets beside the other; ``versions``
    are those of the file, ``left_out`` the numbers of those that name a material which is nowhere.
    """

    code: str
    draft: Draft
    products: tuple[ProductForm, ...]
    packaging: tuple[tuple[tuple[str, str], ...], ...]
    state: str
    unknown: tuple[str, ...]
    beside: str = ""
    versions: tuple[IncomingVersion, ...] = ()
    left_out: tuple[int, ...] = ()
    retired: bool = False
    products_retired: tuple[bool, ...] = ()


@dataclass(frozen=True, slots=True)
class FilePreview:
    """What taking a file would do; nothing is written yet. ``prices`` counts those of materials that are new.

    ``records`` are its suppliers, lots and batches, ``records_over`` the same where drafts are put over those here.
    """

    formulas: tuple[IncomingFormula, ...]
    new_materials: tuple[str, ...]
    new_packaging: tuple[str, ...]
    prices: int = 0
    records: RecordPlan = field(default_factory=RecordPlan)
    records_over: RecordPlan = field(default_factory=RecordPlan)

    @property
    def versions(self) -> int:
        """How many versions would come with formulas that are added."""
        return sum(len(one.versions) for one in self.formulas if one.state != "same")

    @property
    def kept_out(self) -> tuple[IncomingRecord, ...]:
        """Lots and batches that would come in beside, and stay out where drafts are put over those that are here."""
        over = {(one.name, one.what) for one in (*self.records_over.lots, *self.records_over.batches) if one.why}
        both = (*self.records.lots, *self.records.batches)
        return tuple(one for one in both if not one.why and (one.name, one.what) in over)


def preview_file(session: Session, data: bytes) -> FilePreview:
    """Return what taking a file would do.

    Raises:
        Unreadable: with everything that is wrong.
    """
    tables = read_tables(data)
    faults = record_faults(tables)
    if faults:
        raise Unreadable(faults)
    materials = _new_materials(session, tables)
    names = {inci_key(one.form.name) for one in materials}
    shelf = set(session.scalars(select(MaterialRow.name_key).where(MaterialRow.retired_at.is_(None))))
    formulas = tuple(_incoming(session, tables, names | shelf))
    pieces = set(session.scalars(select(PackagingRow.name)))
    new_packaging = tuple(row["name"] for row in tables["packaging"] if row["name"] not in pieces)
    prices = sum(inci_key(row["material"]) in names for row in tables["prices"])
    every = names | set(session.scalars(select(MaterialRow.name_key)))
    beside, over = (
        plan_records(session, tables, KnownNames(every, _usable_versions(session, tables, formulas, replaced=replaced)))
        for replaced in (False, True)
    )
    if not (formulas or materials or new_packaging or beside.is_new):
        raise Unreadable([LineFault(0, "There is no formula in this file, and nothing else that is new here.")])
    new_names = tuple(one.form.name for one in materials)
    return FilePreview(formulas, new_names, new_packaging, prices, beside, over)


def _usable_versions(
    session: Session, tables: Tables, formulas: Sequence[IncomingFormula], *, replaced: bool
) -> dict[tuple[str, str], str | None]:
    """Return the versions that batches of the file may be of, each with why it cannot be used, None where it can."""
    found: dict[tuple[str, str], str | None] = {}
    rows = {(row["formula"].strip(), row["number"]): row for row in tables["versions"]}
    for one in formulas:
        added = one.state == "new" or (one.state == "other" and not replaced)
        here = {} if added else {row["number"]: row for row in versions_out(session, one.code)}
        for version in one.versions:
            number = version.row["number"]
            other = number in here and here[number] != dict(rows[one.code, number])
            found[one.code, number] = f"version {number} of {one.code} is another here" if other else None
        found |= {
            (one.code, str(number)): f"version {number} of {one.code} names a material which is nowhere"
            for number in one.left_out
        }
    return found


def _new_materials(session: Session, tables: Tables) -> list[IncomingMaterial]:
    """Return the materials of a file that the shelf has none of, retired ones where it has none of that name at all."""
    if not tables["materials"]:
        return []
    incoming = read_file(write_table(MATERIAL_COLUMNS, tables["materials"]))
    live = set(session.scalars(select(MaterialRow.name_key).where(MaterialRow.retired_at.is_(None))))
    there = set(session.scalars(select(MaterialRow.name_key))) | {one.key[0] for one in incoming if not one.retired}
    return [one for one in incoming if one.key[0] not in (there if one.retired else live)]


def _incoming(session: Session, tables: Tables, known: set[str]) -> Iterable[IncomingFormula]:
    faults: list[LineFault] = []
    seen: set[str] = set()
    shop = the_workshop(session)
    for number, row in enumerate(tables["formulas"], start=2):
        code = row["code"].strip()
        if not code or len(code) > LONGEST_CODE or code in seen:
            why = "is there twice" if code in seen else f"has to have 1 to {LONGEST_CODE} characters"
            faults.append(LineFault(number, f"In the table formulas: the code {code[:20]!r} {why}."))
            continue
        seen.add(code)
        draft = _draft(tables, row, code)
        texts = [draft.name, draft.notes, *(x.method for x in draft.phases), *(x.typed for x in draft.lines)]
        too_long = len(draft.lines) > MOST_LINES or any(len(one) > LONGEST_TEXT for one in texts)
        if not draft.name.strip() or too_long:
            words = f"{code}: it has no name, more than {MOST_LINES} lines, or a text that is too long."
            faults.append(LineFault(number, words))
            continue
        products = [one for one in tables["products"] if one["formula"].strip() == code]
        forms = tuple(_product(one, shop, faults, code) for one in products)
        missing = dict.fromkeys(x.typed.strip() for x in draft.lines if inci_key(x.typed) not in known)
        state = _state(session, code, draft)
        beside = _free_code(session, code, seen) if state == "other" else ""
        packs = tuple(tuple(_packs(one["packaging"])) for one in products)
        unknown = tuple(name for name in missing if name)
        versions, left_out = _versions(tables, code, known, faults)
        yield IncomingFormula(
            code,
            draft,
            forms,
            packs,
            state,
            unknown,
            beside,
            versions,
            left_out,
            is_yes(row["retired"]),
            tuple(is_yes(one["retired"]) for one in products),
        )
    parts = ("phases", "lines", "products", "versions")
    strays = {row["formula"].strip() for name in parts for row in tables[name]} - seen
    words = "There are rows of a formula {!r} that is not in the table formulas."
    faults += [LineFault(0, words.format(code[:20])) for code in sorted(strays)]
    if faults:
        raise Unreadable(faults)


def _draft(tables: Tables, row: Row, code: str) -> Draft:
    rows = [one for one in tables["phases"] if one["formula"].strip() == code]
    phases = [DraftPhase(f"p{n}", x["name"], x["temperature"], x["method"]) for n, x in enumerate(rows, start=1)]
    ids = {one["phase"].strip(): phase.id for one, phase in zip(rows, phases, strict=True)}
    lines = []
    for n, one in enumerate((x for x in tables["lines"] if x["formula"].strip() == code), start=1):
        letter = one["phase"].strip()
        if letter not in ids:
            ids[letter] = f"p{len(phases) + 1}"
            phases.append(DraftPhase(ids[letter]))
        fills_up = is_yes(one["to_100"])
        lines.append(DraftLine(f"l{n}", ids[letter], one["material"], None, one["amount"], fills_up, one["note"]))
    head = {name: row[name] for name in HEAD if name != "special_uses"}
    uses = tuple(use.strip() for use in row["special_uses"].split(",") if use.strip())
    return Draft(code=code, special_uses=uses, phases=tuple(phases) or (DraftPhase("p1"),), lines=tuple(lines), **head)


def _versions(
    tables: Tables, code: str, known: set[str], faults: list[LineFault]
) -> tuple[tuple[IncomingVersion, ...], tuple[int, ...]]:
    """Return the versions of a formula, and the numbers of those that name a material which is nowhere."""
    found: dict[int, IncomingVersion] = {}
    left_out: list[int] = []
    for row in (one for one in tables["versions"] if one["formula"].strip() == code):
        try:
            number, kept_at = int(row["number"]), datetime.fromisoformat(row["kept_at"])
            value = Formula.from_json(row["value"])
            renamed = {inci_key(then): inci_key(now) for then, now in json.loads(row["on_shelf"] or "{}").items()}
            filled = row["filled_at"] and datetime.fromisoformat(row["filled_at"])
            Draft.from_json(row["content"])
            DeclaredLists.from_json(row["declared"] or '{"lists": []}')
            dated = kept_at.tzinfo is not None and (not filled or filled.tzinfo is not None)
            whole = number >= 1 and number not in found and dated and row["exposure"] in EXPOSURES
        except (ValueError, TypeError, KeyError, AttributeError, ArithmeticError, RecursionError):
            whole, number = False, 0
        if not whole or sum((line.percent for line in value.lines), Decimal(0)) != value.total_percent:
            faults.append(LineFault(0, f"A version of {code} ({row['number'][:20]}) cannot be read or stands twice."))
            continue
        keys = {inci_key(line.material.name) for line in value.lines}
        if any(renamed.get(key, key) not in known for key in keys):
            left_out.append(number)
            continue
        found[number] = IncomingVersion(number, row, kept_at, value, renamed)
    return tuple(found[number] for number in sorted(found)), tuple(left_out)


def _product(row: Row, shop: Workshop, faults: list[LineFault], code: str) -> ProductForm:
    form = ProductForm(**{name: row[name] for name in PRODUCT_FIELDS if row[name]})
    try:
        return form.checked(shop)
    except Faults as wrong:
        faults += [LineFault(0, f"Product of {code}, {fault.field}: {fault.message}") for fault in wrong.faults]
        return form


def _packs(text: str) -> Iterable[tuple[str, str]]:
    """Yield the packaging of a product as (name, pieces for a unit)."""
    for part in text.split(";"):
        found = _PACK.fullmatch(part.strip())
        if found is not None:
            yield found["name"].strip(), found["count"]


def _state(session: Session, code: str, draft: Draft) -> str:
    there = session.scalars(select(FormulaRow).where(FormulaRow.code == code)).first()
    if there is None:
        return "new"
    return "same" if _rows_of(code, opened(session, there).draft) == _rows_of(code, draft) else "other"


def _rows_of(code: str, draft: Draft) -> Tables:
    tables = empty_tables()
    add_draft(tables, code, draft)
    return tables


def _free_code(session: Session, code: str, seen: set[str]) -> str:
    tries = (f"{code[: LONGEST_CODE - len(str(n))]}{n}" for n in range(2, 10_000))
    return next(one for one in tries if one not in seen and not code_taken(session, one))


@action(once="formula file")
def take_file(
    session: Session,
    data: bytes,
    *,
    replace_drafts: bool,
    with_versions: bool = False,
    with_records: bool = False,
    who: str = "",
    file_name: str = "",
    key: str = "",
) -> int:
    """Take a file whole and return the id of its import; what is here just so stays untouched.

    Args:
        data: the file.
        replace_drafts: put drafts over those of formulas with the same code, each as one step that can be undone; else
            they are added beside, with a code of their own.
        with_versions: keep the versions of formulas that are added.
        with_records: take the suppliers, lots and decided batches, and with them the versions that are not here.
        who: the person, for the list of imports.
        file_name: its name, for the list of imports.
        key: the one-time key of the form.

    Raises:
        Unreadable: with everything that is wrong; nothing is written then.
    """
    found = preview_file(session, data)
    tables = read_tables(data)
    written: dict[str, list[int]] = {name: [] for name in KINDS}
    steps: list[tuple[int, int]] = []
    ids: dict[str, int] = {}
    written["materials"] += _add_materials(session, tables)
    written["packaging"] += _add_packaging(session, tables)
    for incoming in found.formulas:
        formula = session.scalars(select(FormulaRow).where(FormulaRow.code == incoming.code)).first()
        if incoming.state == "other" and formula is not None and replace_drafts:
            draft = match_materials(session, incoming.draft)
            add_step(session, formula, draft, change=f"Imported from {file_name or 'a file'}")
            steps.append((formula.id, formula.draft_step))
        elif formula is None or incoming.state == "other":
            code = incoming.beside or incoming.code
            draft = replace(incoming.draft, code=code)
            formula = insert(session, draft.name, code, draft, f"Imported from {file_name or 'a file'}")
            formula.retired_at = now() if incoming.retired else None
            written["formulas"].append(formula.id)
        ids[incoming.code] = formula.id
        if with_records or (with_versions and formula.id in written["formulas"]):
            written["versions"] += _keep_versions(session, formula, incoming)
        if incoming.state != "same":
            written["products"] += _add_products(session, formula, incoming)
    if with_records:
        plan = found.records_over if replace_drafts else found.records
        here = Here(*_shelf_ids(session), ids, file_name.strip()[:200], who.strip()[:80])
        try:
            written |= add_records(session, tables, plan, here)
        except IntegrityError as error:
            raise Unreadable([LineFault(0, "The records in this file contradict each other or themselves.")]) from error
    row = _imported(who, file_name, _summary(len(written["formulas"]) + len(steps), written))
    session.add(row)
    session.flush()
    mark(session, row, written, steps)
    return row.id


def _imported(who: str, file_name: str, summary: str) -> FormulaImport:
    who, file_name = who.strip()[:80], file_name.strip()[:200]
    return FormulaImport(taken_at=now(), taken_by=who, file_name=file_name, summary=summary, content="{}")


def _summary(formulas: int, written: Mapping[str, Sequence[int]]) -> str:
    """Return what an import wrote: formulas and materials always, the rest where there is any."""
    words = [("formula", "formulas", formulas), ("new material", "new materials", len(written["materials"]))]
    more = (("version", "versions"), ("lot", "lots"), ("batch", "batches"))
    words += [(one, many, len(written[many])) for one, many in more if written[many]]
    return ", ".join(f"{count} {one if count == 1 else many}" for one, many, count in words)


@action(once="formulas of a spreadsheet")
def take_kept(
    session: Session, found: Sequence[KeptFormula], *, who: str = "", file_name: str = "", key: str = ""
) -> int:
    """Add formulas that were read from a spreadsheet, each as a draft, and return the id of the import."""
    written: dict[str, list[int]] = {name: [] for name in KINDS}
    for one in found:
        formula = insert(session, one.name, "", one.draft, f"Taken from {file_name or 'a spreadsheet'}")
        session.flush()
        written["formulas"].append(formula.id)
    count = len(found)
    row = _imported(who, file_name, f"{count} {'formula' if count == 1 else 'formulas'} of a spreadsheet")
    session.add(row)
    session.flush()
    mark(session, row, written)
    return row.id


def _add_materials(session: Session, tables: Tables) -> list[int]:
    """Add the materials that are new here with their prices, and return their ids."""
    names, added = set(), []
    for one in _new_materials(session, tables):
        material = new_material(one.form)
        material.retired_at = now() if one.retired else None
        session.add(material)
        session.flush()
        added.append(material.id)
        if not one.retired:
            names.add(one.key[0])
    rows = [row for row in tables["prices"] if inci_key(row["material"]) in names]
    if rows:
        for price in reversed(read_prices(session, write_table(PRICE_COLUMNS, rows))):
            session.add(PriceRow(material_id=price.thing.id, **price.columns, noted_at=now()))
        session.flush()
    return added


def _shelf_ids(session: Session) -> tuple[dict[str, int], dict[str, int]]:
    """Return the ids of the materials by their keys, those on the shelf before retired ones, and of the packaging."""
    newest_last = select(MaterialRow.name_key, MaterialRow.id).order_by(
        MaterialRow.retired_at.is_(None), MaterialRow.id
    )
    materials = {key: row_id for key, row_id in session.execute(newest_last)}  # noqa: C416
    packaging = {name: row_id for name, row_id in session.execute(select(PackagingRow.name, PackagingRow.id))}  # noqa: C416
    return materials, packaging


def _keep_versions(session: Session, formula: FormulaRow, incoming: IncomingFormula) -> list[int]:
    """Keep the versions that the formula has none of that number of, with the ids that belong to their names here."""
    materials, packaging = _shelf_ids(session)
    there = set(session.scalars(select(FormulaVersion.number).where(FormulaVersion.formula_id == formula.id)))
    added = []
    for one in (version for version in incoming.versions if version.number not in there):
        called = materials | {then: materials[now_called] for then, now_called in one.shelf.items()}
        value = with_ids(one.value, called, packaging)
        version = FormulaVersion(
            formula_id=formula.id,
            number=one.number,
            name=one.row["name"] or value.name,
            exposure=Exposure(one.row["exposure"]),
            note=one.row["note"],
            kept_at=one.kept_at,
            kept_by=one.row["kept_by"],
            content=match_materials(session, Draft.from_json(one.row["content"])).to_json(),
            value=value.to_json(),
            declared=one.row["declared"] or None,
            filled_at=datetime.fromisoformat(one.row["filled_at"]) if one.row["filled_at"] else None,
        )
        version.lines = version_lines(value)
        session.add(version)
        session.flush()
        added.append(version.id)
    return added


def _add_packaging(session: Session, tables: Tables) -> list[int]:
    """Add the packaging that is new here with its prices: those of the file, or what a pack costs by its row."""
    names = set(session.scalars(select(PackagingRow.name)))
    added = []
    for row in tables["packaging"]:
        if row["name"].strip() and row["name"] not in names:
            typed = {name: row[name] for name in PackagingForm.fields}
            values = PackagingForm(**typed).checked(the_workshop(session)).columns()
            price = cast("Decimal | None", values.pop("price"))
            piece = PackagingRow(**values, retired_at=now() if is_yes(row["retired"]) else None)
            session.add(piece)
            session.flush()
            known = [one for one in tables["packaging_prices"] if one["packaging"] == row["name"]]
            if not known:
                note_pack_price(session, piece, price)
            for one in reversed(known):
                session.add(PriceRow(packaging_id=piece.id, **values_of("packaging_prices", one), noted_at=now()))
            session.flush()
            added.append(piece.id)
    return added


def _add_products(session: Session, formula: FormulaRow, incoming: IncomingFormula) -> list[int]:
    """Add the products that the formula has none of that name of."""
    there = {product.name for product in products_of(session, formula.id)}
    ids = {name: key for name, key in session.execute(select(PackagingRow.name, PackagingRow.id))}  # noqa: C416
    added = []
    for form, packs, retired in zip(incoming.products, incoming.packaging, incoming.products_retired, strict=True):
        checked = form.checked(the_workshop(session))
        if checked.name in there:
            continue
        product = Product(formula_id=formula.id, created_at=now(), **checked.columns())
        product.retired_at = now() if retired else None
        known = [(ids[name], count) for name, count in packs if name in ids]
        product.packaging = [
            ProductPackaging(position=place, packaging_id=piece, per_unit=count)
            for place, (piece, count) in enumerate(known)
        ]
        session.add(product)
        session.flush()
        added.append(product.id)
    return added
