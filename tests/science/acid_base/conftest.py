import importlib.util
from collections.abc import Callable
from pathlib import Path

import pytest

from app.reference.acid_base import acid_base_table
from app.science.acid_base.values import Adjuster, Mixture


@pytest.fixture(scope="session")
def mix() -> Callable[..., Mixture]:
    """Write a mixture from (name, percent, assay, hydrate) tuples, the rest water."""
    table = acid_base_table()

    def write(*lines: tuple, **conditions) -> Mixture:
        written = tuple(table.line(*line) for line in lines)
        return Mixture(written, 100.0 - sum(line.percent for line in written), **conditions)

    return write


@pytest.fixture(scope="session")
def solution() -> Callable[[str, float], Adjuster]:
    """Write a solution from a name and a strength in percent."""
    return lambda name, percent: Adjuster(acid_base_table().find(name).substance, percent)


@pytest.fixture(scope="session")
def phreeqc():
    """Give PHREEQC on our own constants; see phreeqc.py beside this file."""
    place = Path(__file__).with_name("phreeqc.py")
    spec = importlib.util.spec_from_file_location("phreeqc_database", place)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.Phreeqc()
