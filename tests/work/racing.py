"""A program of its own for tests of two processes at one workshop: takes, plans and packs, or is killed in a write.

python -m tests.work.racing take URL LOT FORMULA ROUNDS WHO PARITY
python -m tests.work.racing killed URL LOT KILLS
"""

import json
import os
import signal
import sys
import time

from app.store.engine import Store
from app.store.errors import Unusable
from app.work.batches.planning import Plan, plan_batch
from app.work.stock.lots import MoveForm, move_by_hand


def take(store: Store, lot_id: int, who: str, key: str = "") -> None:
    """Take a gram from a lot."""
    move_by_hand(store, lot_id, MoveForm(kind="used", amount="1 g", by=who), key=key)


def race(url: str, lot: str, formula: str, rounds: str, who: str, parity: str) -> None:
    """Take from one lot in every round, plan a batch in every second, and print the batches and what was said."""
    store, said, batches = Store(url), [], []
    print("ready", flush=True)
    sys.stdin.readline()
    for place in range(int(rounds)):
        try:
            take(store, int(lot), who)
            if place % 2 == int(parity):
                batches.append(
                    plan_batch(store, Plan(int(formula), None, "300 g", planned_on="2026-11-30", made_by=who))
                )
        except Unusable as error:
            said.append(str(error))
    store.close()
    print(json.dumps({"batches": batches, "said": said}))


def killed(url: str, lot: str, kills: str) -> None:
    """Start a process that writes on and on and kill it at another moment, as often as is asked; print the writes."""
    store, begun = Store(url), 1
    take(store, int(lot), "parent")  # What every child needs is compiled once, before they part.
    store.engine.dispose()
    for place in range(int(kills)):
        reading, writing = os.pipe()
        child = os.fork()
        if not child:
            os.close(reading)
            while True:
                take(store, int(lot), "child")
                os.write(writing, b".")
        os.close(writing)
        os.read(reading, 1)  # It has written once; the next write is under way.
        time.sleep(place * 0.00013)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with os.fdopen(reading, "rb") as rest:
            begun += 1 + len(rest.read())
    store.close()
    print(begun)


if __name__ == "__main__":
    {"take": race, "killed": killed}[sys.argv[1]](*sys.argv[2:])
