"""Materials and drafts, so that a test states only what matters to it."""

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from decimal import Decimal

import pytest
from sqlalchemy import event

from app.science.composition import Part
from app.science.formula import Material
from app.store.engine import Store
from app.work.formulas.draft import Draft, DraftLine, DraftPhase

NAMES = ("Aqua", "Glycerin", "Xanthan Gum", "Olive Oil")


@pytest.fixture
def material() -> Callable[..., Material]:
    def make(id: int, name: str, **more: object) -> Material:
        values = {"parts": (Part(name, Decimal(100)),), **more}
        return Material(id, name, **values)  # type: ignore[arg-type]

    return make


@pytest.fixture
def shelf(material: Callable[..., Material]) -> dict[int, Material]:
    return {n: material(n, name) for n, name in enumerate(NAMES, start=1)}


@pytest.fixture
def draft() -> Callable[..., Draft]:
    """Make a draft of (material id, amount) rows; an amount of None is the line that fills up."""

    def make(*rows: tuple[int | None, str | None], **head: object) -> Draft:
        lines = tuple(
            DraftLine(
                f"l{n}", "p", NAMES[key - 1] if key and key <= len(NAMES) else "", key, amount or "", amount is None
            )
            for n, (key, amount) in enumerate(rows)
        )
        return Draft(**{"name": "Cream", "code": "C", "phases": (DraftPhase("p"),), "lines": lines, **head})  # type: ignore[arg-type]

    return make


@pytest.fixture
def fail_at(store: Store) -> Callable[[int], AbstractContextManager[list[str]]]:
    """Give a context in which the nth statement sent fails; it collects the one that did."""

    @contextmanager
    def failing(nth: int) -> Iterator[list[str]]:
        sent: list[str] = []
        failed: list[str] = []

        def refuse(_connection: object, _cursor: object, statement: str, *_rest: object) -> None:
            sent.append(statement)
            if len(sent) == nth:
                failed.append(statement)
                raise OSError("the disk is gone")

        event.listen(store.engine, "before_cursor_execute", refuse)
        try:
            yield failed
        finally:
            event.remove(store.engine, "before_cursor_execute", refuse)

    return failing
