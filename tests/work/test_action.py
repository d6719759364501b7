"""An action is one transaction, and a form is taken once."""

import threading

import pytest
from sqlalchemy import text
from sqlalchemy.orm import Session

from app.science.errors import Invalid
from app.store.engine import Store
from app.store.workshop import ScaleRow
from app.work.action import LONGEST_KEY, action, request_key


@action(once="scale for {place}")
def put_scale(session: Session, place: int, name: str, *, key: str = "") -> int:
    scale = ScaleRow(name=name, readability_g=1, capacity_g=2)
    session.add(scale)
    session.flush()
    if name == "wrong":
        raise Invalid("name", "Another name.")
    return scale.id


def scales(store: Store) -> int:
    with store.reading() as session:
        return session.scalar(text("SELECT count(*) FROM scale")) or 0


def test_a_form_sent_again_gives_the_first_result_and_writes_nothing(store: Store) -> None:
    first = put_scale(store, 1, "one", key="k")
    assert put_scale(store, 1, "one", key="k") == first
    assert scales(store) == 1


def test_the_same_key_at_another_place_is_another_form(store: Store) -> None:
    assert put_scale(store, 1, "one", key="k") != put_scale(store, 2, "two", key="k")


@pytest.mark.parametrize("key", ["", " ", "a\x00b", "x" * (LONGEST_KEY + 1)], ids=["none", "blank", "NUL", "long"])
def test_what_is_no_key_of_ours_does_not_hold_a_form_back(store: Store, key: str) -> None:
    assert request_key("place", key) == ""
    assert put_scale(store, 1, "one", key=key) != put_scale(store, 1, "two", key=key)


def test_a_refused_form_leaves_nothing_and_may_be_sent_again(store: Store) -> None:
    with pytest.raises(Invalid):
        put_scale(store, 1, "wrong", key="k")
    assert scales(store) == 0
    assert put_scale(store, 1, "right", key="k")


def test_two_presses_at_once_are_one_record(store: Store) -> None:
    start, results = threading.Barrier(6), []

    def press() -> None:
        start.wait()
        results.append(put_scale(store, 1, "one", key="k"))

    threads = [threading.Thread(target=press) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(30)
    assert len(set(results)) == 1
    assert (len(results), scales(store)) == (6, 1)
