"""The figures of the formula page in words, written once for the page as drawn and for its answers while open."""

import math
from collections.abc import Iterable, Sequence
from decimal import Decimal
from typing import Any

from app.documents.words import decimals, places, some_figures
from app.science.numbers import exact_arithmetic
from app.store.workshop import Workshop
from app.web.formulas.columns import Column, column_values
from app.work.formulas.results import LineResult, Results, percent_words
from app.work.pricing import in_currency

HUNDRED = Decimal(100)
LEAST_SHARE, DECADES = 0.01, 4.0
NOT_YET = "–"


def figures(results: Results, columns: Sequence[Column] = ()) -> dict[str, Any]:
    """Return every figure of the strip, the lines, the phase heads and the margin as text, ready to be set.

    Args:
        results: the draft worked out.
    """
    shop = results.context.workshop
    listed = results.declarations[0] if results.declarations else None
    names = len(listed.entries) if listed and not listed.fault else 0
    unit = _unit(results, shop)
    weighed = results.weighed_g
    weigh = NOT_YET if weighed is None or not _is_whole(results) else f"{places(weighed, results.places_g)} g"
    total = {"words": results.total.words, "state": results.total.state}
    return {
        "total": {"figure": f"{some_figures(results.total.percent, 8)} %", **total},
        "weigh": weigh,
        "unit": unit,
        "lines": {line.draft.id: line_figures(line, results, columns) for line in results.lines},
        "phases": dict(_phases(results)),
        "notes": {
            "cost": "not yet" if unit["figure"] == NOT_YET else f"{unit['figure']} {unit['label']}{unit['of']}",
            "list": f"{names} names, {listed.jurisdiction}" if listed and names else "not yet",
            "substances": f"{len(results.substances)}" if results.substances else "none yet",
        },
    }


def _is_whole(results: Results) -> bool:
    return results.total.state == "whole"


def _unit(results: Results, shop: Workshop) -> dict[str, str]:
    cost = results.cost
    if cost is None or not _is_whole(results):
        return {"label": "a unit", "of": "", "figure": NOT_YET, "short": NOT_YET}
    label, of, value = "a unit", "", cost.costing.per_unit.total
    if cost.why_no_unit:
        label, of, value = "a kg", ", materials", cost.materials_per_kg
    if cost.at_least and not value:
        return {"label": label, "of": of, "figure": "no price yet", "short": NOT_YET}
    amount = in_currency(value, shop.currency, shop.locale)
    least = {"figure": f"at least {amount}", "short": f"≥ {amount}"} if cost.at_least else {}
    return {"label": label, "of": of, "figure": amount, "short": amount, **least}


def line_figures(line: LineResult, results: Results, columns: Sequence[Column] = ()) -> dict[str, Any]:
    """Return what stands beside one line: its grams, its shares, what it fills up with and what is remarked.

    ``weight`` and ``cost`` are lengths from 0 to 1 on a logarithmic scale from 0.01 to 100 %.
    """
    known = line.material is not None
    share = f"{places(line.cost_share, 1)} %" if line.cost_share is not None and line.priced else ""
    in_percent = results.draft.basis != "w/w"
    return {
        "grams": NOT_YET if line.grams is None else places(line.grams, line.places),
        "percent": f"{some_figures(line.percent)} % w/w" if in_percent and line.percent is not None else "",
        "share": "no price" if known and not line.priced else share,
        "weight": log_length(line.percent),
        "cost": log_length(line.cost_share),
        "rest": rest_of(line, results),
        "remark": " ".join(line.remarks),
        "columns": column_values(line, columns, results.context.workshop),
    }


def log_length(percent: Decimal | None) -> float:
    """Return the length from 0 to 1 of a share on a logarithmic scale from 0.01 to 100 %.

    >>> log_length(Decimal(1)), log_length(Decimal(100)), log_length(None)
    (0.5, 1.0, 0.0)
    """
    if percent is None or float(percent) <= LEAST_SHARE:
        return 0.0
    return round(min(1.0, math.log10(float(percent) / LEAST_SHARE) / DECADES), 4)


def rest_of(line: LineResult, results: Results) -> str:
    """Write the percentage that a line fills up with, where amounts are percentages w/w."""
    if not line.is_remainder or line.percent is None or results.draft.basis != "w/w":
        return ""
    return percent_words(line.percent)


def _phases(results: Results) -> Iterable[tuple[str, str]]:
    digits = 6 if results.draft.basis == "w/w" else 4
    for phase in results.draft.phases:
        lines = [line for line in results.lines if line.draft.phase == phase.id]
        with exact_arithmetic():
            percent = sum((line.percent or Decimal(0) for line in lines), Decimal(0))
            grams = [line.grams for line in lines if line.grams is not None]
            share = sum((line.cost_share or Decimal(0) for line in lines), Decimal(0))
        words = [f"{some_figures(percent, digits)} %"] if lines else []
        words += [f"{places(sum(grams, Decimal(0)), results.places_g)} g"] if grams else []
        words += [f"{places(share, 1)} % of cost"] if results.cost and share else []
        yield phase.id, " · ".join(words)


def most_decimals(texts: Iterable[str]) -> str:
    """Return the largest number of decimals in a column."""
    return max((decimals(text) for text in texts), default="") or "0"
