"""The pH section under a formula: what it shows, with its plot."""

from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache

from app.documents.drawings.ruler import Window
from app.documents.drawings.shapes import Drawing
from app.documents.drawings.titration import PlottedReading, titration
from app.science.composition import DosedMaterial
from app.work.formulas.results import Results
from app.work.ph.report import PhReport, ph_report

MOST_KEPT = 64
HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class PhView:
    """The report with its plot; ``plot`` is None without a titration."""

    report: PhReport
    plot: Drawing | None
    batch_g: float


def ph_view(results: Results, chosen: int | None = None) -> PhView | None:
    """Return what the section shows of a draft; None while nothing is in it.

    ``chosen`` is the place among the materials of the line that is to set the pH, where the maker picked one.
    """
    materials = tuple(m for m in results.formula.dosed if m.percent > 0 and m.parts)
    if not materials or sum((m.percent for m in materials), Decimal(0)) > HUNDRED:
        return None
    batch_g = float(results.weighed_g) if results.weighed_g is not None else 100.0
    return _view(materials, results.draft.exposure, results.formula.target_ph, batch_g, chosen)


@lru_cache(maxsize=MOST_KEPT)
def _view(
    materials: tuple[DosedMaterial, ...], exposure: str, target: Decimal | None, batch_g: float, chosen: int | None
) -> PhView | None:
    found = ph_report(materials, exposure=exposure, target=target, batch_g=batch_g, chosen=chosen)
    if found is None:
        return None
    return PhView(found, _plot(found), batch_g)


def _plot(found: PhReport) -> Drawing | None:
    dosing = found.titration
    if dosing is None:
        return None
    target = None if found.target is None else float(found.target)
    readings = []
    if dosing.own_line:
        there = min(dosing.advice.curve, key=lambda p: abs(p.grams - dosing.in_formula))
        readings.append(PlottedReading(dosing.in_formula, there.ph, "in the formula"))
    gels = [
        Window(g.thickener.window.full_from, g.thickener.window.full_to, f"full body, {g.thickener.inci}", "gel")
        for g in found.gels
        if g.thickener.needs_neutraliser
    ]
    systems = [s for s in found.preservation.systems if s.undissociated_fraction not in (None, 1.0)]
    tops = [s.ph_window[1] for s in systems]
    lows = [s.ph_window[0] for s in systems]
    keeps = [Window(max(lows), min(tops), "preservatives' window", "preservative")] if systems else []
    windows = gels + [band for band in keeps if band.high > band.low]
    return titration(dosing.material, dosing.advice.curve, target, windows, readings)


def windows_of(found: PhReport) -> tuple[Window, ...]:
    """Return the windows of pH that a formula has to meet: of each preservative and of each thickener."""
    keeps = [
        Window(*system.ph_window, system.inci, "preservative")
        for system in found.preservation.systems
        if system.ph_window[1] > system.ph_window[0]
    ]
    bodies = [
        Window(gel.thickener.window.full_from, gel.thickener.window.full_to, f"{gel.thickener.inci}, full body", "gel")
        for gel in found.gels
    ]
    return tuple(keeps + bodies)
