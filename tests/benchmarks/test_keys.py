"""From a key in an amount to the numbers painted, in a real Chromium: 40 and 80 lines, and at 12 keys a second.

The goals are meant for a machine at rest: 100 ms (95 of 100 within 180) at 40 lines, 150 (250) at 80. Run it with
``python3 -m app test tests/benchmarks/test_keys.py -n 0 -s`` to see the figures.
"""

import statistics

import pytest
from playwright.sync_api import Page

from app.reference.materials import library_materials
from app.store.engine import Store
from app.work.formulas.draft import Draft, DraftLine, DraftPhase
from app.work.formulas.editing import create
from app.work.materials.shelf import load_material, put_on_shelf
from tests.browser.conftest import Opened, axe, bench, chromium, visit  # noqa: F401 - fixtures

pytestmark = pytest.mark.browser

GOALS_MS = {40: (100, 180), 80: (150, 250)}
MOST_TIMES_THE_GOAL = 4
KEYS = 30
FAST_KEYS, FAST_MS = 72, 1000 / 12
WATCH = """() => {
  const grams = document.querySelector("[data-line='l7'] [data-f='grams']");
  const total = document.querySelector("[data-s='total-words']");
  window.painted = [];
  window.updates = 0;
  const field = document.getElementById("line.l7.amount");
  let pressed = 0;
  field.addEventListener("input", () => { pressed = performance.now(); });
  new MutationObserver(() => {
    updates += 1;
    if (!pressed) return;
    const from = pressed;
    pressed = 0;
    requestAnimationFrame(() => setTimeout(() => painted.push(performance.now() - from)));
  }).observe(total, { childList: true, characterData: true, subtree: true });
  field.focus();
}"""


def forty(store: Store, count: int) -> int:
    names = [load_material(store, put_on_shelf(store, m.key)).name for m in library_materials()[::3][:count]]
    phases = tuple(DraftPhase(f"p{n}", f"Phase {n}", "75", "Stir.\nWait.") for n in range(4))
    lines = tuple(DraftLine(f"l{n}", f"p{n % 4}", name, None, "0.5", n == 0) for n, name in enumerate(names))
    return create(store, f"{count} lines", content=Draft(phases=phases, lines=lines, batch="1 kg", target_ph="5"))


def watched(visit: Opened, store: Store, lines: int) -> Page:  # noqa: F811 - the fixture
    page = visit(f"/formulas/{forty(store, lines)}")
    page.wait_for_timeout(500)
    page.evaluate(WATCH)
    return page


@pytest.mark.parametrize("lines", [40, 80])
def test_numbers_are_painted_soon_after_a_key(visit: Opened, store: Store, lines: int) -> None:  # noqa: F811
    page = watched(visit, store, lines)
    for key in range(KEYS):
        page.keyboard.press("Backspace" if key % 2 else "1")
        page.wait_for_timeout(350)
    spent = sorted(page.evaluate("painted"))[: KEYS + 5]
    median, late = statistics.median(spent), spent[int(len(spent) * 0.95) - 1]
    goal, late_goal = GOALS_MS[lines]
    print(f"\n{lines} lines: median {median:.0f} ms (goal {goal}), 95 of 100 in {late:.0f} ms (goal {late_goal})")
    assert len(spent) >= KEYS - 2
    assert median <= goal * MOST_TIMES_THE_GOAL


def test_numbers_follow_while_one_types_on(visit: Opened, store: Store) -> None:  # noqa: F811
    page = watched(visit, store, 40)
    page.keyboard.press("End")
    for key in range(FAST_KEYS):
        page.keyboard.press("Backspace" if key % 2 else "3")
        page.wait_for_timeout(FAST_MS - 15)
    updates = page.evaluate("updates")
    print(f"\n40 lines at 12 keys a second: {updates} updates in {FAST_KEYS / 12:.0f} s")
    assert updates >= 10
