"""The ``stock`` command says where the amount on hand differs from the ledger, and puts it right when asked."""

import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner

from app.commands.stock import stock
from app.store.engine import Store, sqlite_url
from app.work.materials.material_form import MaterialForm, PartForm
from app.work.materials.shelf import add_material
from app.work.stock.lots import ReceiveForm, receive


@pytest.fixture
def folder(migrated_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.delenv("TAREBOOK_DATABASE_URL", raising=False)
    database = Path(shutil.copy(migrated_file, tmp_path / "tarebook.db"))
    store = Store(sqlite_url(database))
    oil = add_material(store, MaterialForm("Oil", parts=(PartForm("Helianthus Annuus Seed Oil"),)))
    receive(store, ReceiveForm(amount="1 kg", by="Ines", received_on="2026-11-02"), material_id=oil)
    store.close()
    return tmp_path


def test_a_ledger_that_adds_up_is_said_to(folder: Path) -> None:
    done = CliRunner().invoke(stock, ["--data", str(folder)])
    assert (done.exit_code, done.output) == (0, "1 lot, 0 differing from the ledger\n")


def test_what_differs_is_named_and_put_right_when_asked(folder: Path) -> None:
    with closing(sqlite3.connect(folder / "tarebook.db")) as connection, connection:
        connection.execute("UPDATE lot SET on_hand = 5000000")
    named = CliRunner().invoke(stock, ["--data", str(folder)])
    assert (named.exit_code, named.output.splitlines()[1]) == (1, "26-306-1: 5 on hand, 1000 by the ledger")
    assert CliRunner().invoke(stock, ["--data", str(folder), "--repair"]).output.endswith("1 put right\n")
    assert CliRunner().invoke(stock, ["--data", str(folder)]).exit_code == 0


def test_a_folder_without_a_workshop_is_told_so(tmp_path: Path) -> None:
    assert "no workshop" in CliRunner().invoke(stock, ["--data", str(tmp_path)]).output
