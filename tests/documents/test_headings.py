"""Each figure of a paper or a page stands under its own heading: drawn from values of which no two are alike."""

import csv
import html
import io
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal as D
from types import SimpleNamespace as Of
from typing import Any

import pytest
from jinja2 import ChoiceLoader, DictLoader, Environment, FileSystemLoader

from app.documents import words
from app.documents.drawings.shapes import Drawing, Shape
from app.documents.packing_record import fills_drawing
from app.documents.paper import TEMPLATES
from app.science.cost import Amounts
from app.work.batches import listing
from app.work.materials.prices import PriceForm
from app.work.stock import shopping
from app.work.stock.lots import CountForm, DecisionForm, MoveForm, ReceiveForm
from app.work.tracing.recalls import recipients_csv

NOON = datetime(2026, 11, 3, 12, tzinfo=UTC)
DAY = date(2026, 11, 4)


def environment() -> Environment:
    """The templates alone, in a page that holds nothing but its middle."""
    bare = DictLoader({"base.html": "{% block main %}{% endblock %}"})
    made = Environment(loader=ChoiceLoader([bare, FileSystemLoader(TEMPLATES)]), autoescape=True)
    words.register_filters(made)
    shop = Of(currency="EUR", locale="en", name="Larch Street", address="", contact="")
    made.globals.update(
        workshop=shop, url_for=lambda *_, **__: "#", form_key=lambda: "k", person=lambda: "", today=DAY,
        pdf_state=lambda: Of(ready=True),
    )  # fmt: skip
    return made


TEMPLATE = environment()


def page(template: str, **values: Any) -> str:
    return TEMPLATE.get_template(template).render(**values)


def text(piece: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", "", piece)).replace("\u2007", "").replace("\u2008", "").split())


def cells(row: str) -> list[str]:
    found = []
    for attributes, words_of_cell in re.findall(r"<t[hd]\b([^>]*)>(.*?)</t[hd]>", row, re.S):
        wide = re.search(r'colspan="(\d+)"', attributes)
        found += [text(words_of_cell)] * (int(wide[1]) if wide else 1)
    return found


def tables(drawn: str, *headings: str) -> list[dict[str, str]]:
    """Return the rows of the table that has these headings, by heading."""
    for table in re.findall(r"<table\b.*?</table>", drawn, re.S):
        head, _, rest = table.partition("</thead>")
        heads = cells(head.rpartition("<tr")[2])
        if set(headings) <= set(heads):
            return [dict(zip(heads, cells(row), strict=True)) for row in re.findall(r"<tr\b.*?</tr>", rest, re.S)]
    raise AssertionError(headings)


def file_rows(table: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(table)))


def facts(drawn: str) -> dict[str, str]:
    return {text(name): text(value) for name, value in re.findall(r"<dt>(.*?)</dt>\s*<dd[^>]*>(.*?)</dd>", drawn, re.S)}


# Packing


def packing(**more: Any) -> str:
    use = Of(
        lot=Of(code="J-1", supplier=Of(name="Pot House"), supplier_lot="S9"), reason="", issued=D(120), used=D(101),
        spoilt=D(7), returned=D(11), missing=D(1), by="Ines",
    )  # fmt: skip
    weights = [Of(id=n, n=n, grams=D(g)) for n, g in enumerate(("60.1", "61.2", "62.3"), 1)]
    fills = Of(
        grams=[one.grams for one in weights], mean_g=D("61.2"), mean=D("61.2"), unit="g", judged=None, why_not=""
    )
    bulk = Of(
        taken_g=D(1300), in_units_g=D(1224), rest_g=D(31), waste_g=D(9), missing_g=D(36), percent=D("97.2"),
    )  # fmt: skip
    run = Of(
        is_open=False, product=Of(name="Cream"), fill_amount=D(60), fill_unit="g", jurisdiction=Of(value="EU"),
        number="HC-1-P1", state=Of(value="closed"), packed_on=DAY, place="bench 2", by="Tom", artwork="L3",
        code_printed="HC1", best_before=date(2028, 5, 31), open_months=12, early_why="", units_filled=20,
        units_spoilt=3, units_sampled=2, units_to_stock=15, samples=[], ticks=[], history=[], notes="", closed_by="Zoe",
        closed_at=NOON,
    )  # fmt: skip
    record = Of(
        fills=fills, pieces=[Of(name="Jar", uses=[use])], standing=weights, bulk=bulk, nominal_g=D(60),
        band=Of(low=D(95), high=D(102), holds=lambda _: True), corrected=[(weights[0], Of(
            grams=D("60.4"), by="Ida", at=NOON, reason="read badly"))], points=[],
    )  # fmt: skip
    batch = Of(number="HC-1", version=Of(name="Hand cream", number=4))
    return page("papers/_packing_record.html", run=run, record=record, batch=batch, drawing=None, on_page=True, **more)


def test_a_packing_record_says_of_every_piece_and_gram_where_it_went() -> None:
    drawn = packing()
    (jar,) = tables(drawn, "Issued", "Spoilt")
    assert jar == {
        "Packaging": "Jar", "Lot": "J-1", "Supplier's lot": "Pot House S9", "Issued": "120", "Used": "101",
        "Spoilt": "7", "Returned": "11", "Missing": "1", "By": "Ines",
    }  # fmt: skip
    (units,) = tables(drawn, "Units filled")
    assert units == {"Units filled": "20", "Spoilt": "3", "Kept as samples": "2", "To stock": "15"}
    (bulk,) = tables(drawn, "Waste, g")
    assert bulk == {
        "Bulk taken, g": "1300.00", "In units, g": "1224.00", "Left over, g": "31.00", "Waste, g": "9.00",
        "Not accounted for, g": "36.00", "Accounted for": "97.2 %", "Usual": "95 to 102 %",
    }  # fmt: skip
    whole = text(drawn)
    assert "3 units, net g: 60.1, 61.2, 62.3. Mean 61.20 g, smallest 60.1 g." in whole
    assert "Weight 1: 60.1 g became 60.4 g, Ida" in whole
    assert facts(drawn) == {
        "Formula": "Hand cream, version 4", "Day": "4 Nov 2026", "Line or bench": "bench 2", "Started by": "Tom",
        "Label and version": "L3", "Code printed": "HC1", "Best before": "31 May 2028", "After opening": "12 months",
    }  # fmt: skip


def test_finished_units_are_on_hand_and_packed_and_not_the_other_way_round() -> None:
    row = Of(
        product_id=1, batch_id=2, product="Cream", batch="HC-1", on_hand=17, packed=40, best_before=date(2028, 5, 31),
        last_packed=DAY, is_past=lambda _: False,
    )  # fmt: skip
    drawn = page("packing/finished.html", page=Of(rows=[row], before=None, after=None), low=[], gone=0)
    assert tables(drawn, "On hand") == [
        {"Product": "Cream", "Batch": "HC-1", "On hand": "17", "Packed": "40", "Best before": "31 May 2028",
         "Last packed": "4 Nov 2026"}
    ]  # fmt: skip


# Money


def amounts(*parts: str) -> Amounts:
    return Amounts(*(D(part) for part in parts))


def test_what_a_batch_cost_stands_kind_by_kind_and_lot_by_lot() -> None:
    columns = (
        ("Batch planned", tuple(map(D, ("11", "12", "13", "14", "50"))), False),
        ("Batch as made", tuple(map(D, ("21", "22", "23", "24", "90"))), True),
    )
    oil = Of(name="Oil", lot="O-7", amount=D(250), unit="g", cost=D("3.333"), source="paid for the lot")
    jar = Of(name="Jar", lot="", amount=D(8), unit="pieces", cost=None, source="no price")
    cost = Of(
        unpriced=("Jar",), runs=[Of(number="P1", product="Cream", units=15)], columns=columns, currency="EUR",
        minutes=35, planned_minutes=D(25), material_rows=[(oil, D("3.34"))], packaging_rows=[(jar, None)],
    )  # fmt: skip
    drawn = page(
        "papers/_batch_cost.html",
        cost=cost,
        batch=Of(version=Of(name="Hand cream", number=4), number="HC-1"),
        on_page=True,
    )
    found = {row.pop("EUR"): row for row in tables(drawn, "Batch as made")}
    assert found == {
        "Materials": {"Batch planned": "€11.00", "Batch as made": "€21.00"},
        "Packaging": {"Batch planned": "€12.00", "Batch as made": "€22.00"},
        "Labour": {"Batch planned": "€13.00", "Batch as made": "€23.00"},
        "Overhead": {"Batch planned": "€14.00", "Batch as made": "€24.00"},
        "Total": {"Batch planned": "€50.00", "Batch as made": "at least €90.00"},
    }
    assert tables(drawn, "Lot", "Cost") == [
        {"What": "Oil", "Lot": "O-7", "Amount": "250 g", "Cost": "€3.34", "By": "paid for the lot"},
        {"What": "Jar", "Lot": "–", "Amount": "8 pieces", "Cost": "–", "By": "no price"},
    ]
    assert "the time noted, 35 min, at the rate of the version; 25 min were planned" in text(drawn)
    assert "P1, Cream: 15 good units." in text(drawn)


def test_a_cost_sheet_says_what_each_piece_each_kilogram_and_each_margin_costs() -> None:
    def costing(units: int, *parts: str) -> Of:
        return Of(units=units, per_unit=amounts(*parts), margin_percent=D("61.2") + units)

    sheet = Of(
        formula=Of(name="Cream", code="HC", version_number=4, size=Of(net_g=D(300))), unpriced=(), currency="EUR",
        job=Of(
            loss_percent=D(4), fill_g=D(50), labour_minutes=D(25), overhead_percent=D(12), price=D("9.90"),
            tax_percent=D(19),
        ),
        weighing=Of(total_g=D("312.5")), net_price=D("8.32"), has_breaks=True,
        costing=Of(
            units=6, batch=amounts("1.24", "4.32", "7.50", "1.57"), materials_per_kg=D("3.98"),
            margin_percent=D("70.7"),
        ),
        unit=amounts("0.21", "0.72", "1.25", "0.26"), batch=amounts("1.24", "4.32", "7.50", "1.57"),
        kinds=[Of(kind="labour", unit=D("1.25"), batch=D("7.50"), share_percent=D("51.3"))],
        materials=[Of(name="Oil", grams=D("57.81"), places=2, per_kg=D(9), amount=D("0.52"), share_percent=D("41.9"))],
        packaging=[Of(name="Jar", per_unit=D(2), each=D("0.36"), amount=D("4.32"))],
        asking=[Of(margin_percent=D(50), price=D("5.80")), Of(margin_percent=D(60), price=D("7.26"))],
        at_batches=[Of(batches=1, costing=costing(6, "0.21", "0.72", "1.25", "0.26")),
                    Of(batches=5, costing=costing(30, "0.15", "0.70", "1.25", "0.25"))],
    )  # fmt: skip
    TEMPLATE.filters["weight_against_cost"] = lambda *_: Of(
        shapes=(), marks=(), patterns=(), title="", height=1, name="s"
    )
    drawn = page("papers/_cost_sheet.html", sheet=sheet, on_page=True)
    assert facts(drawn) == {
        "Batch": "300 g net", "Weighed, 4 % loss": "312.5 g", "Units of 50 g": "6", "Cost per unit": "€2.44"
    }  # fmt: skip
    assert tables(drawn, "What", "Per unit", "Batch") == [
        {"What": "Labour, 25 min", "Per unit": "€1.25", "Batch": "€7.50", "Share": "51.3 %"},
        {"What": "Total", "Per unit": "€2.44", "Batch": "€14.63", "Share": "100.0 %"},
    ]
    assert tables(drawn, "Price of 1 kg") == [
        {"Material": "Oil", "Grams": "57.81", "Price of 1 kg": "€9.00", "In the batch": "€0.52", "Share": "41.9 %"},
        {"Material": "Total", "Grams": "312.5", "Price of 1 kg": "", "In the batch": "€1.24", "Share": "100.0 %"},
    ]
    assert tables(drawn, "Packaging") == [
        {"Packaging": "Jar", "Per unit": "2", "Unit price": "€0.36", "In the batch": "€4.32"},
        {"Packaging": "Total", "Per unit": "", "Unit price": "", "In the batch": "€4.32"},
    ]
    assert tables(drawn, "For a margin of") == [{"For a margin of": "Price with tax", "50 %": "€5.80", "60 %": "€7.26"}]
    assert tables(drawn, "Batches") == [
        {"Batches": "1", "Units": "6", "Materials per unit": "€0.21", "Cost per unit": "€2.44", "Margin": "67.2 %"},
        {"Batches": "5", "Units": "30", "Materials per unit": "€0.15", "Cost per unit": "€2.35", "Margin": "91.2 %"},
    ]
    assert "Material cost per kg: €3.98." in text(drawn)
    assert "At €9.90 with 19 % tax: €8.32 before tax, margin 70.7 %." in text(drawn)


def test_a_price_list_has_the_price_before_tax_and_with_it() -> None:
    row = Of(
        name="Cream", content="50 g", barcode="4006381333931", market="EU", minimum=6, before_tax=D("8.32"),
        tax_percent=D(19), price=D("9.90"), currency="CHF",
    )  # fmt: skip
    assert tables(page("papers/_price_list.html", listed=Of(day=DAY, rows=[row])), "Before tax") == [
        {"Product": "Cream", "Content": "50 g", "Bar code": "4006381333931", "Market": "EU", "From units": "6",
         "Before tax": "CHF8.32", "Tax": "19 %", "Price": "CHF9.90"}
    ]  # fmt: skip


def test_what_is_short_is_bought_by_the_pack(monkeypatch: pytest.MonkeyPatch) -> None:
    row = Of(
        unit="g", material_id=1, packaging_id=None, name="Oil", reserved=D(800), reorder=D(500), usable=D(420),
        held=D(60), free=D(-380),
    )  # fmt: skip
    one = Of(
        row=row, short=D(820), on_order=D(55), packs=D(2), pack_text="450 g", pack_price=D("15.60"),
        cost=D("31.20"), supplier="Quay Oils", delivery_days=D(4),
    )  # fmt: skip
    drawn = page("stock/to_buy.html", found=[one], total=D("45.60"), faults={})
    assert tables(drawn, "Short") == [
        {"Item": "Oil", "Short": "820 g", "For batches": "800 g", "To keep": "500 g", "Usable": "420 g",
         "On order": "55", "Packs": "2 × 450 g", "At last price": "€31.20"}
    ]  # fmt: skip
    assert "Total, as far as prices are known: €45.60" in text(drawn)
    monkeypatch.setattr(shopping, "load_to_buy", lambda _: [one])
    assert file_rows(shopping.export_to_buy(None)) == [  # type: ignore[arg-type]
        {"item": "Oil", "short": "820", "unit": "g", "needed": "800", "keep": "500", "usable": "420",
         "in quarantine": "60", "on order": "55", "packs": "2", "pack": "450 g", "pack price": "15.6", "cost": "31.2",
         "supplier": "Quay Oils", "delivery days": "4"}
    ]  # fmt: skip


def test_the_margin_of_a_formula_says_what_a_kilogram_a_unit_and_the_batch_cost() -> None:
    costing = Of(
        units=6, per_unit=amounts("0.21", "0.72", "1.25", "0.26"), batch=amounts("1.24", "4.32", "7.50", "1.57"),
        margin_percent=D("70.7"),
    )  # fmt: skip
    cost = Of(at_least=False, materials_per_kg=D("3.98"), why_no_unit="", costing=costing, unpriced=())
    drawn = page("formulas/_note_cost.html", results=Of(cost=cost, lines=()), current=Of(formula_id=1))
    assert facts(drawn) == {
        "Material cost per kg": "€3.98", "Cost per unit": "€2.44", "The batch, 6 units": "€14.63", "Margin": "70.7 %"
    }  # fmt: skip


# Stock and trace


def test_what_is_on_hand_is_usable_needed_free_held_or_past() -> None:
    row = Of(
        unit="g", material_id=1, packaging_id=None, name="Oil", usable=D(900), reserved=D(350), free=D(550), held=D(40),
        spent=D(7), first_due=DAY, is_low=True, reorder=D(600), drawn_here=False,
    )  # fmt: skip
    drawn = page(
        "stock/index.html", page=Of(rows=[row], before=None, after=None), words="", show="", shown={}, faults={}
    )
    assert tables(drawn, "Usable") == [
        {"Name": "Oil", "Usable": "900 g", "For open batches": "350 g", "Free": "550 g", "In quarantine": "40 g",
         "Past or rejected": "7 g", "Next date": "4 Nov 2026", "Remark": "low, keep 600 g"}
    ]  # fmt: skip


def test_a_recall_counts_what_was_sent_reached_and_came_back() -> None:
    shop = Of(
        name="Corner shop", kind="trade", contact="by mail", batches=("HC-1", "HC-2"), sent=24, returned=5,
        told_at=NOON, reached=True, receiver_id=3,
    )  # fmt: skip
    figures = Of(
        receivers=4, sent=60, reached=48, reached_percent=80, returned=15, returned_percent=25, on_shelf=9
    )  # fmt: skip
    recall = Of(
        number="R-2026-001", is_mock=False, reason="odour", opened_at=NOON, opened_by="Ines", closed_at=NOON,
        closed_by="Zoe", scope="all", to_do="stop", conclusion="done", history=[],
    )  # fmt: skip
    sheet = Of(
        recall=recall, figures=figures, batches=[Of(id=1, number="HC-1")] * 2, recipients=[shop], lots=[], took="2 h"
    )
    drawn = page("tracing/recall.html", sheet=sheet, forms={}, refused="", faults={}, most=50)
    assert dict(list(facts(drawn).items())[:7]) == {
        "Batches": "2", "Receivers": "4", "Units sent": "60", "Reached": "48 80 %", "Returned": "15 25 %",
        "On the shelf": "9", "List complete after": "2 h",
    }  # fmt: skip
    (row,) = tables(drawn, "Units", "Returned")
    assert (row["Receiver"], row["Batches"], row["Units"], row["Returned"]) == ("Corner shop", "HC-1, HC-2", "24", "5")
    assert file_rows(recipients_csv(sheet)) == [  # type: ignore[arg-type]
        {"receiver": "Corner shop", "kind": "trade", "contact": "by mail", "batches": "HC-1, HC-2", "units_sent": "24",
         "units_back": "5", "told": "2026-11-03", "reached": "yes"}
    ]  # fmt: skip


# The record of a batch


def weighing(number: int, grams: str, **more: Any) -> Of:
    given = {
        "lot_text": f"L{number}", "scale": "Fine", "by": f"Ines {number}", "checked_by": f"Tom {number}", "at": NOON,
        "session_id": None, "heating_id": None,
    }  # fmt: skip
    return Of(grams=D(grams), **given | more)


def batch_record() -> str:
    def line(name: str, *weighed: Of, **more: Any) -> Of:
        return Of(
            name=name, added_at_bench=False, is_swapped=False, places=1, actual_places=2, scale="Bench",
            standing=weighed, actual_g=sum((one.grams for one in weighed), D(0)), **more,
        )  # fmt: skip

    band = Of(low=D(98), high=D(103))
    rows = [
        Of(line=line("Oil", weighing(1, "101.5"), shown_g=D("100.2")), band=band, difference_g=D("1.3"),
           is_outside=False, corrected=[(weighing(9, "1015"), "read badly")]),
        Of(line=line("Water", weighing(2, "60"), weighing(3, "41", session_id=1), shown_g=D("99.1")), band=None,
           difference_g=D("-0.5"), is_outside=True, corrected=[]),
    ]  # fmt: skip
    step = Of(words="Stir", remark="", done_at=NOON, temperature_c=D(72), done_by="Ida")
    heating = Of(
        vessel="Pot", scale="", reason="", phase="A", before_g=D(900), before_by="Ines", before_at=NOON, after_g=D(880),
        after_by="Tom", after_at=NOON, lost_g=D(20), put_back=(1,), put_back_g=D(19), missing_g=D(1),
    )  # fmt: skip
    reading = Of(kind="pH", words="5.4", temperature_c=D(21), taken_by="Zoe", taken_at=NOON, session_id=None)
    check = Of(check=Of(what="pH", wanted="5 to 6", method="meter"), reading=reading, is_inside=True)
    gear = Of(
        name="Fine", is_due=False,
        last=Of(
            checked_on=DAY, passed=True, reference="100 g weight", reading="99.98 g", by="Ida",
            next_due=date(2027, 1, 9),
        ),
    )  # fmt: skip
    session = Of(
        name="Lactic acid", record=Of(id=1, target_ph=D("5.4"), batch_g=D(870), started_by="Zoe", started_at=NOON,
        finished_at=NOON), added_g=D("2.5"), counter_g=D("0.7"), counter_solution=Of(material=Of(name="Soda")),
    )  # fmt: skip
    batch = Of(
        is_decided=True, number="HC-1", state=Of(value="released"), size_text="", size_g=D(900), planned_on=DAY,
        started_at=NOON, made_by="Ines", product=None, fill_g=D(30), loss_percent=D(4), heatings=[heating],
        weighed_g=D(935), held_g=D(915), yield_g=D(850), readings=[reading], version=Of(number=4), decided_by="Zoe",
        decided_at=NOON,
    )  # fmt: skip
    out = Of(
        what="too much", is_unfinished=False,
        answer=Of(cause="slip", effect="none", action="kept", decided_by="Zoe", decided_at=NOON),
    )  # fmt: skip
    record = Of(
        formula=Of(name="Cream", code="HC", product_type="", exposure="leave-on", target_ph=D("5.5")), gear=[gear],
        start_up=[Of(words="Bench is clean", done_at=NOON, done_by="Tom")], sessions=[session], deviations=[out],
        phases=[Of(letter="A", name="Water", temperature_c=D(75), cautions=(), lines=rows, steps=[step])],
        planned_g=D(940), yield_percent=D("92.9"), checks=[check], made=None, decided_why="", released_alone=False,
        history=[Of(details=[Of(at=NOON, what="yield", old="840 g", new="850 g", by="Ines", why="read again")])],
    )  # fmt: skip
    return page("papers/_batch_record.html", record=record, batch=batch, plots={}, on_page=True)


def test_a_batch_record_says_what_was_planned_and_weighed_by_whom_from_which_lot() -> None:
    drawn = batch_record()
    when = text(words.moment(NOON))
    oil, corrected, water, first, second = tables(drawn, "Planned, g")
    assert oil == {
        "Material": "Oil", "Planned, g": "100.2", "From, to": "98.0 to 103.0", "Actual, g": "101.50",
        "Difference": "+1.30", "Lot": "L1", "Scale": "Fine", "By": "Ines 1", "Checked": "Tom 1", "When": when,
    }  # fmt: skip
    assert (corrected["Material"], corrected["Actual, g"], corrected["Lot"]) == ("Corrected: read badly", "1015", "L9")
    assert [water[name] for name in ("Planned, g", "From, to", "Actual, g", "Difference", "Lot")] == [
        "99.1", "–", "101.00", "−0.50 !", "2 portions",
    ]  # fmt: skip
    portions = [(row["Actual, g"], row["Lot"], row["By"], row["Checked"]) for row in (first, second)]
    assert portions == [("60.00", "L2", "Ines 2", "Tom 2"), ("41.00", "L3", "Ines 3", "Tom 3")]
    assert tables(drawn, "Step") == [{"Step": "Stir", "At °C": "72", "By": "Ida", "When": when}]
    assert tables(drawn, "Pot") == [
        {"Pot": "Pot", "Phase": "A", "Before, g": "900", "By, when": f"Tom, {when}", "After, g": "880", "Lost, g": "20",
         "Put back, g": "19"}
    ]  # fmt: skip
    assert tables(drawn, "Equipment") == [
        {"Equipment": "Fine", "Last check before weighing": "4 Nov 2026, passed", "Against": "100 g weight",
         "Reading": "99.98 g", "By": "Ida", "Next due": "9 Jan 2027"}
    ]  # fmt: skip
    checks, read = tables(drawn, "Check", "Result")
    assert checks == {
        "Check": "pH, checked against its limits", "Target": "5 to 6 meter", "Result": "5.4", "At °C": "21",
        "By": "Zoe", "When": when,
    }  # fmt: skip
    assert (read["Check"], read["Result"], read["At °C"], read["By"]) == ("pH", "5.4", "21", "Zoe")
    assert tables(drawn, "Cause") == [
        {
            "What": "too much",
            "Cause": "slip",
            "Effect": "none",
            "Action and decision": "kept",
            "By, when": f"Zoe, {when}",
        }
    ]
    assert tables(drawn, "Before", "After") == [
        {"When": when, "What": "yield", "Before": "840 g", "After": "850 g", "By": "Ines", "Why": "read again"}
    ]
    found = facts(drawn)
    assert (found["Batch size (net)"], found["Units of 30 g"], found["Process loss"]) == ("900 g", "30", "4 %")
    assert found["Target pH"] == "5.5"
    whole = text(drawn)
    assert (
        "Planned 940 g, actual 935 g, 915 g in the batch after heating. Yield 850 g, 92.9 % of what is in the batch"
        in whole
    )
    assert "Lactic acid to pH 5.4, 870 g in the beaker, Zoe" in whole
    assert "Added 2.5 g, and 0.7 g of Soda to correct it." in whole


def test_a_file_of_batches_has_a_column_for_each_figure(monkeypatch: pytest.MonkeyPatch) -> None:
    row = Of(
        id=77, number="HC-1", formula="Hand cream", version_number=4, size_g=D(900), state=Of(value="released"),
        planned_on=DAY, made_by="Ines",
    )  # fmt: skip
    monkeypatch.setattr(listing, "search_batches", lambda *_: [row])
    assert file_rows(listing.batches_csv(None, listing.Search())) == [  # type: ignore[arg-type]
        {"number": "HC-1", "product": "Hand cream", "version": "4", "size_g": "900", "state": "released",
         "planned_for": "2026-11-04", "made_by": "Ines"}
    ]  # fmt: skip


def test_a_batch_is_made_beside_its_version() -> None:
    made = Of(
        findings=(), new_gaps=(), same_list=True, ph_made=None, ph_planned=None,
        lines=[Of(name="Oil", percent=D("18.5"), made_percent=D("18.7"))],
    )  # fmt: skip
    assert tables(page("batches/_as_made.html", made=made), "As made, %") == [
        {"Material": "Oil", "Version, %": "18.5", "As made, %": "18.7"}
    ]


def test_additions_at_the_bench_are_told_from_their_sum_and_from_readings() -> None:
    added = Of(at=NOON, drops=D(40), grams=D("1.2"), advised_g=D("1.5"), by="Ines")
    read = Of(taken_at=NOON, value=D("6.1"), uncertainty=D("0.05"), temperature_c=D(22), taken_by="Tom")
    rows = [
        Of(entry=added, is_reading=False, material="Lactic acid", total_g=D("4.6")),
        Of(entry=read, is_reading=True),
    ]
    state = Of(
        name="Lactic acid", rows=rows, refitted=(), why_not="", added_g=D("4.6"), counter_g=D("0.8"),
        counter_solution=Of(material=Of(name="Soda")),
        record=Of(target_ph=D("5.4"), batch_g=D(870), started_at=NOON, started_by="", finished_at=None),
    )  # fmt: skip
    addition, reading = tables(page("ph/_session_record.html", state=state, drawn=None), "In all, g")
    assert [addition[name] for name in ("What", "Added, g", "In all, g", "pH", "Who")] == [
        "Lactic acid, 40 drops", "1.2 (advised 1.50)", "4.6", "–", "Ines",
    ]  # fmt: skip
    assert [reading[name] for name in ("What", "Added, g", "pH", "At °C", "Who")] == [
        "Reading", "–", "6.1 ± 0.05", "22", "Tom",
    ]  # fmt: skip


# What is handed out


def recipe() -> Of:
    line = Of(
        name="Oil", inci="Helianthus", percent=D("18.5"), grams=D("57.8"), rough="about 4 spoons", is_remainder=False
    )
    phase = Of(letter="A", name="Oils", temperature_c=D(70), lines=[line], steps=["Melt"], cautions=["hot"])
    formula = Of(
        name="Cream", code="HC", version_number=4, product_type="cream", exposure="leave-on", target_ph=D("5.5")
    )
    return Of(
        formula=formula, phases=[phase], net_g=D(300), total_g=D("312.6"), step_g=D("0.1"), places=1, words="",
        equipment=["a pot"], substitutes=[], cautions=["keep cool"], maker="Larch Street",
    )  # fmt: skip


def test_a_recipe_has_its_percent_and_its_grams_in_every_form() -> None:
    given = recipe()
    card = page("recipes/_card.html", recipe=given, phases=[(given.phases[0], ("hot",))], pictures=())
    assert tables(card, "g") == [{"Material": "Oil", "%": "18.5", "g": "57.8", "rough guide": "about 4 spoons"}]
    assert "Makes 300 g; scale 0.1 g." in text(card)
    assert "Total 312.6 g. Target pH 5.5" in text(card)
    plain = page("recipes/recipe.txt", recipe=given)
    assert "18.5 %  57.8 g  Oil" in plain
    assert "| Oil | Helianthus | 18.5 | 57.8 |" in page("recipes/recipe.md", recipe=given)
    for written in (plain, page("recipes/recipe.md", recipe=given)):
        assert "Makes 300 g." in written
        assert "Total 312.6 g. Target pH 5.5." in written


def test_a_class_is_told_what_a_kit_takes_and_what_all_of_them_take() -> None:
    given = recipe()
    one = Of(
        phase="A", line=Of(**vars(given.phases[0].lines[0]), advice=None, cautions=""), all_g=D("462.4"), stock=None
    )
    needed = Of(name="Oil", unit="g", needed=D("462.4"), free=D(300), held=D(50), missing=D("162.4"), drawn_here=False)
    kits = Of(recipe=given, participants=8, lines=[one], wanted=[needed], missing=[needed], all_g=D("2500.8"))
    drawn = page("papers/_class.html", kits=kits, on_page=True)
    assert tables(drawn, "Each kit, g") == [
        {"Phase": "A", "Material": "Oil", "% w/w": "18.5", "Each kit, g": "57.8", "x 8, g": "462.4", "All packed": ""},
        {
            "Phase": "",
            "Material": "Total",
            "% w/w": "100",
            "Each kit, g": "312.6",
            "x 8, g": "2500.8",
            "All packed": "",
        },
    ]
    assert tables(drawn, "To buy") == [
        {"What": "Oil", "Needed": "462.4 g", "Free on the shelf": "300 g", "In quarantine": "50 g", "To buy": "162.4 g",
         "Bought": ""}
    ]  # fmt: skip
    assert "300 g each, 2400 g in all" in text(drawn)


# Drawings


def test_weight_is_drawn_beside_cost_line_by_line() -> None:
    """57.81 of 312.5 g are 18.4992 %."""
    rows = [
        Of(name="Oil", grams=D("57.81"), per_kg=D(9), share_percent=D("41.9")),
        Of(name="Water", grams=D("254.69"), per_kg=None, share_percent=D(0)),
    ]
    drawing = words.drawn_shares(Of(weighing=Of(total_g=D("312.5")), materials=rows), True)  # type: ignore[arg-type]
    said = [shape.words for shape in drawing.shapes if shape.words.startswith(("Oil:", "Water:", "no price"))]
    assert said == ["Oil: 18.5 % of the weight", "Oil: 41.9 % of the cost", "Water: 81.5 % of the weight", "no price"]


def test_fills_are_drawn_against_their_content_and_their_limits() -> None:
    fills = Of(values=(D("60.1"), D("54.2")), limits=(D("55.5"), D(51)), nominal=Of(base=D(60)), unit="g")
    drawing = fills_drawing(fills)  # type: ignore[arg-type]
    assert drawing is not None
    said = {shape.words for shape in drawing.shapes}
    assert said >= {"unit 1: 60.10 g", "unit 2: 54.20 g, short", "nominal 60 g", "limit 55.5 g", "none below 51 g"}


@pytest.mark.parametrize(
    ("kind", "more", "screen", "paper"),
    [
        ("line", {}, 'x1="20.00%" y1="30" x2="70.00%" y2="45"', 'x1="100.0" y1="30" x2="350.0" y2="45"'),
        ("rect", {}, 'x="20.00%" y="30" width="50.00%" height="15"', 'x="100.0" y="30" width="250.0" height="15"'),
        ("circle", {}, 'cx="20.00%" cy="30" r="45"', 'cx="100.0" cy="30" r="45"'),
        ("square", {}, 'x="20.00%" y="30"', 'x="100.0" y="30"'),
        ("text", {"words": "5.5"}, 'x="20.00%" y="30" text-anchor="start"', 'x="100.0" y="30" text-anchor="start"'),
    ],
)
def test_a_shape_is_drawn_where_it_says(kind: str, more: dict[str, str], screen: str, paper: str) -> None:
    drawing = Drawing("d", "A drawing", 100, (Shape(kind, 0.2, 30, 0.7, 45, **more),))  # type: ignore[arg-type]
    draw: Callable[..., str] = TEMPLATE.get_template("_drawing.html").module.draw  # type: ignore[attr-defined]
    assert screen in draw(drawing)
    assert paper in draw(drawing, 500)


# What is weighed, kept and bought


def test_a_batch_sheet_has_net_and_total_each_in_its_place() -> None:
    def row(name: str, percent: str, grams: str, places: int) -> Of:
        line = Of(key=name, name=name, percent=D(percent), is_remainder=False, note="", measure=None)
        return Of(line=line, weigh_g=D(grams), scale=Of(name="Fine", places=places), advice=None, measured=None)

    lines = [row("Oil", "18.5", "57.81", 2), row("Water", "81.5", "254.7", 1)]
    part = Of(
        phase=Of(letter="A", name="All", temperature_c=D(75)), lines=lines, cautions=(),
        steps=[Of(number=1, words="Stir")], steps_of=lambda key: {"Oil": (1,)}.get(key, ()),
    )  # fmt: skip
    check = Of(what="pH", method="meter", wanted="5 to 6", is_required=True, answers_to=lambda kind: kind == "pH")
    sheet = Of(
        formula=Of(
            name="Cream", code="HC", version_number=4, product_type="cream", exposure="leave-on", target_ph=D("5.5")
        ),
        size=Of(words="6 units", net_g=D(300), units=6, fill_g=D(50)), loss_percent=D(4), weighed_g=D("312.51"),
        phases=[part], lines=lines, findings=(), loses_water=False, checks=[check], has_ph=True, pots=(),
    )  # fmt: skip
    drawn = page("papers/_batch_sheet.html", sheet=sheet, number="HC-9", planned_on=DAY, made_by="Ines", on_page=True)
    assert facts(drawn) == {
        "Batch size (net)": "6 units = 300 g", "Total to weigh, 4 % loss included": "312.51 g", "Units of 50 g": "6",
        "Target pH": "5.5", "Date": "4 Nov 2026", "Made by": "Ines",
    }  # fmt: skip
    found = {row["Material"]: (row["% w/w"], row["Weigh"]) for row in tables(drawn, "Weigh")}
    assert found == {
        "OilFine; step 1": ("18.518.5 %", "57.81 g"), "WaterFine": ("81.581.5 %", "254.7 g"),
        "Total": ("100100 %", "312.51 g"),
    }  # fmt: skip
    checks = {row["Check"]: row["Target"] for row in tables(drawn, "Check")}
    assert checks == {"pH meter": "5 to 6", "pH, again": "", "Appearance, odour, feel": "", "Yield": "300 g"}


def test_a_ledger_says_what_came_and_what_left() -> None:
    lot = Of(
        id=1, code="O-7", packaging_id=None, material_id=1, material=Of(name="Oil"), packaging=None, name="Oil",
        unit="g", received_on=DAY, amount_text="1 kg", supplier=Of(name="Quay Oils"), supplier_lot="Q3",
        from_batch=None, expires_on=date(2027, 5, 6), retest_on=date(2027, 2, 3), opened_on=date(2026, 12, 1),
        place="shelf 2", paid=D("31.20"), currency="CHF", decided_at=None, composition="", notes="", on_hand=D("899.5"),
    )  # fmt: skip
    moves = [
        Of(at=NOON, kind=Of(value="weighed out"), amount=D("-100.5"), batch=Of(number="HC-1"), batch_id=1, by="Ines",
           why=""),
        Of(at=NOON, kind=Of(value="received"), amount=D(1000), batch=None, by="Tom", why=""),
    ]  # fmt: skip
    forms = {"decision": DecisionForm(), "move": MoveForm(), "count": CountForm()}
    drawn = page(
        "stock/lot.html", lot=lot, moves=moves, forms=forms, by_hand=(), history=(), against="", faults={}, refused=""
    )
    left, came, whole = tables(drawn, "g", "Batch")
    assert (left["What"], left["g"], left["Batch"], left["By"]) == ("weighed out", "−100.5", "HC-1", "Ines")
    assert (came["What"], came["g"], came["Batch"], came["By"]) == ("received", "+1000", "–", "Tom")
    assert whole["g"] == "899.5"
    found = facts(drawn)
    dates = {name: found[name] for name in ("Expiry date", "Re-test by", "Opened")}
    assert dates == {"Expiry date": "6 May 2027", "Re-test by": "3 Feb 2027", "Opened": "1 Dec 2026"}
    assert (found["Received"], found["Supplier's lot"], found["Paid"]) == ("4 Nov 2026, 1 kg", "Q3", "CHF31.20")


def test_a_price_is_that_of_its_pack_and_of_a_kilogram_or_a_piece() -> None:
    paid = {
        "id": 1, "priced_on": DAY, "amount": D("12.30"), "currency": "CHF", "supplier": "Quay Oils", "note": "spring",
    }  # fmt: skip
    oil = dict.fromkeys(("use_low", "use_high", "ph_min", "ph_max", "max_temp_c", "density_g_ml")) | {"name": "Oil"}
    oil["prices"] = [Of(kind="paid", quantity_text="100 g", per_kg=D(123), **paid)]
    drawn = page(
        "materials/show.html", material=oil, use=Of(formulas=(), batches=0), origins={}, remarks=(), form=PriceForm(),
        faults={}, total=D(0), width_text=lambda _: "",
    )  # fmt: skip
    (row,) = tables(drawn, "Per kg")
    assert [row[name] for name in ("When", "Paid or offered", "Price", "For", "Per kg", "Supplier", "Note")] == [
        "4 Nov 2026", "paid", "CHF12.30", "100 g", "CHF123.00", "Quay Oils", "spring",
    ]  # fmt: skip
    jar = Of(id=1, name="Jar", prices=[Of(kind="offered", quantity_text="48 pieces", each=D("0.256"), **paid)])
    stock = Of(usable=D(90), reserved=D(20), held=D(5), spent=D(3), reorder=None)
    drawn = page(
        "stock/thing.html", kind="packaging", thing=jar, row=stock, lots=(), empty=(), form=ReceiveForm(), faults={},
        price_form=PriceForm(), price_faults={},
    )  # fmt: skip
    (row,) = tables(drawn, "Each")
    assert [row[name] for name in ("Kind", "Price", "For", "Each")] == ["offered", "CHF12.30", "48 pieces", "CHF0.26"]
    assert "90 pieces usable, 20 pieces needed for open batches; 5 pieces in quarantine; 3 pieces" in text(drawn)


def test_an_order_is_in_its_own_currency() -> None:
    order = Of(
        number="O-3", state=Of(value="closed"), supplier=Of(name="Quay Oils", contact=""), ordered_on=DAY,
        currency="CHF", expected_on=None, made_by="", note="",
        lines=[Of(name="Oil", amount_text="1 kg", price=D("31.20"), lot_id=1, lot=Of(code="O-7", amount_text="950 g"))],
    )  # fmt: skip
    drawn = page("stock/order.html", order=order, form=PriceForm(), faults={}, names={})
    assert tables(drawn, "Ordered") == [
        {"Item": "Oil", "Ordered": "1 kg", "Price": "CHF31.20", "Lot received": "O-7, 950 g"}
    ]


def test_a_stock_solution_is_so_much_water_and_so_much_of_the_material() -> None:
    made = Of(
        water_g=D("89.796"), material_g=D("10.204"), steps=(), cautions=(), strength_percent=10, mmol_per_g=2.5,
        molality=2.778, density_g_ml=1.109, density_source="a table", temperature_rise_c=21.4, label="NaOH",
    )  # fmt: skip
    drawn = page(
        "ph/stock.html", form=Of(text=Of(start="naoh"), fields={}), current=Of(formula_id=1, name="Gel"), faults={},
        made=(Of(words="Pellets"), made),
    )  # fmt: skip
    found = facts(drawn)
    assert (found["Water"], found["Pellets"]) == ("89.80 g", "10.20 g")
    assert found["Strength"] == "10 % w/w, 2.5 mmol/g, 2.78 mol per kg of water"
    assert found["Heats up, mixed at once"] == "by about 21 °C (estimate)"


def test_a_pot_says_what_it_lost_and_what_was_put_back() -> None:
    row = Of(
        id=1, vessel="Pot", phase="A", before_g=D(900), before_by="Ines", before_at=NOON, scale="", after_g=D(880),
        after_by="Tom", after_at=NOON, reason="", lost_g=D(20), missing_g=D(0), line=Of(name="Water"),
        put_back=[Of(id=2, grams=D("19.5"), lot_text="W-4", by="Ida", at=NOON)],
    )  # fmt: skip
    pot = Of(rows=[row], learned={}, water=None, pots=(), scales=(), phases=())
    field = TEMPLATE.get_template("_macros.html").module.field  # type: ignore[attr-defined]
    given = {
        "heating": pot,
        "batch": Of(id=1),
        "closed": False,
        "typed": Of(),
        "faults": {},
        "again": "",
        "field": field,
    }
    whole = text(page("batches/_heating.html", **given))
    assert "Pot, phase A: 900 g before heating Ines" in whole
    assert "880 g after Tom" in whole
    assert "20 g lost. 19.5 g of Water put back, lot W-4 Ida" in whole
    assert "put back, g" not in whole  # nothing is missing any more
    row.missing_g = D("0.5")
    again = text(page("batches/_heating.html", **given))
    assert "Water put back, g" in again
    assert "0.5 g" in again


DOSSIER_TABLES = {
    "On the label": {
        "Allergen": "Limonene", "% in the product": "0.0123", "Threshold, %": "0.001", "On the label": "to be named",
        "From": "Lemon oil",
    },
    "Yield, %": {
        "Batch": "HC-1version 4", "Made": "4 Nov 2026", "State": "released", "Size, g": "900", "Yield, %": "92.9",
        "pH": "5.4",
    },
    "Active, %": {
        "Substance": "Benzoic Acid", "In the product, %": "0.5", "Active, %": "0.12", "pH window": "3 to 5",
        "Found": "works", "Barely covers": "moulds", "Why": "acid",
    },
    "After, days": {"Batch": "HC-1", "Looked at": "4 Nov 2026", "After, days": "180", "What was seen": "no change"},
    "Function": {
        "INCI name": "Glycerin", "CAS": "56-81-5", "% w/w": "5.25", "Function": "humectant",
        "From": "Glycerin 99 5 %; Extract 0.25 %",
    },
    "Bought from": {
        "Phase": "A", "Material": "Extract", "% w/w": "1.5", "Bought from": "Quay Oils",
        "What it consists of, %": "Glycerin 65 (60 to 70); 35 not named",
    },
}  # fmt: skip


def test_a_dossier_has_each_figure_of_a_substance_a_batch_and_a_preservative_in_its_column() -> None:
    batch = Of(number="HC-1", version=Of(number=4), state=Of(value="released"), size_g=D(900), weighed_g=D(935))
    check = Of(what="pH", wanted="5 to 6", method="", source="", is_required=True)
    reading = Of(words="5.4")
    system = Of(
        inci="Benzoic Acid", percent=0.5, active_percent=0.12, undissociated_fraction=0.24, ph_window=(3.0, 5.0),
        verdict=Of(value="works"), why="acid",
    )  # fmt: skip
    total = Of(
        inci="Glycerin", percent=D("5.25"),
        contributions=[Of(material="Glycerin 99", percent=D(5)), Of(material="Extract", percent=D("0.25"))],
    )  # fmt: skip
    line = Of(
        name="Extract", percent=D("1.5"), is_remainder=False,
        parts=[Of(inci="Glycerin", percent=D(65), low=D(60), high=D(70))],
    )  # fmt: skip
    dossier = Of(
        formula=Of(special_uses=(), target_ph=None, packaging=(), size=None, loss_percent=D(4)), product=Of(
            name="Cream", jurisdiction=Of(value="EU"), fill_amount=None),
        checks=Of(everywhere=(), home=Of(statements=())), documents_of=lambda _: (), day=DAY,
        workshop=Of(name="", address=""),
        substances=[Of(total=total, is_nano=False, cas="56-81-5", functions=("humectant",))],
        declared=Of(jurisdiction="EU", fault="", text=""), ph=None, specification=[check], unsheeted={}, method=(),
        materials=[Of(phase="A", line=line, unnamed=D(35), suppliers=("Quay Oils",))],
        batches=[Of(batch=batch, made_on=DAY, yield_percent=D("92.9"),
                    results=[Of(check=check, reading=reading, is_inside=True)])],
        allergens=[Of(label_name="Limonene", percent=D("0.0123"), threshold=D("0.001"), materials=("Lemon oil",))],
        preservation=Of(status=Of(value="likely"), systems=[system], gaps=(), hints=()),
        keeping=Of(water_percent=72.0, chelators=(), weak_against=lambda _: ("moulds",)),
        seen=[Of(batch="HC-1", look=Of(looked_on=DAY, seen="no change"), days=180)], documents=(),
        complaints=Of(cases=(), units_out=0),
    )  # fmt: skip
    drawn = page("papers/_dossier.html", dossier=dossier, headings=(), proof=None, on_page=True)
    for heading, row in DOSSIER_TABLES.items():
        assert tables(drawn, heading) == [row]
