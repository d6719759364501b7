"""A new table of law: checked row by row, compared, shown against the formulas, and taken only when asked."""

import csv
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from app.commands import laws
from app.commands.cli import cli
from app.reference.law_table import compare_tables, read_law_table, shipped_path
from app.reference.limits import COLUMNS, limit_rows
from app.science.errors import Invalid
from app.science.rules.check import check_formula
from app.science.rules.values import Severity
from app.work.rules.law_change import with_limits
from tests.science.rules.conftest import materials


def rows() -> list[dict[str, str]]:
    with shipped_path("EU").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def write(path: Path, changed: list[dict[str, str]], columns: list[str] = COLUMNS) -> Path:
    with path.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, columns, extrasaction="ignore")
        writer.writeheader()
        writer.writerows(changed)
    return path


def phenoxyethanol(table: list[dict[str, str]]) -> dict[str, str]:
    return next(row for row in table if row["inci_name"] == "Phenoxyethanol")


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, ["laws", *words])


def test_the_shipped_table_is_sound_and_differs_in_nothing(tmp_path: Path) -> None:
    same = read_law_table(write(tmp_path / "new.csv", rows()), "EU")
    assert len(same) == len(limit_rows("EU"))
    change = compare_tables(same, "EU")
    assert (change.added, change.gone, change.changed) == ((), (), ())


@pytest.mark.parametrize(
    ("column", "value", "said"),
    [
        ("max_percent", "plenty", "not a number"),
        ("max_percent", "140", "not between 0 and 100"),
        ("rule_type", "perhaps", "unknown rule type"),
        ("general", "maybe", "yes or no"),
        ("applies_from", "next year", "isoformat"),
        ("cas", "122-99-5", "check digit"),
        ("source_status", "trust me", "is none of"),
        ("jurisdiction", "US", "not EU"),
        ("exposures", "", "exposures"),
        ("legal_reference", "", "have to be written"),
    ],
)
def test_a_wrong_row_is_named_with_what_is_wrong(tmp_path: Path, column: str, value: str, said: str) -> None:
    table = rows()
    phenoxyethanol(table)[column] = value
    with pytest.raises(Invalid) as caught:
        read_law_table(write(tmp_path / "new.csv", table), "EU")
    assert caught.value.field == f"row {table.index(phenoxyethanol(table)) + 2}"
    assert said in caught.value.message


def test_other_columns_are_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(Invalid, match="missing remark"):
        read_law_table(write(tmp_path / "new.csv", rows(), COLUMNS[:-1]), "EU")


def test_what_is_added_gone_and_changed_is_listed(tmp_path: Path) -> None:
    table = rows()
    phenoxyethanol(table)["max_percent"] = "0.5"
    table.append({**phenoxyethanol(table), "inci_name": "Moonwort Extract", "covers": "", "match_cas": "", "cas": ""})
    table = [row for row in table if row["inci_name"] != "Chlorphenesin"]
    answer = run(str(write(tmp_path / "new.csv", table)), "--jurisdiction", "EU", "--data", str(tmp_path))
    assert answer.exit_code == 0, answer.output
    for line in ("1 added:", "Moonwort Extract", "1 gone:", "Chlorphenesin", "max_percent: 1.0 -> 0.5"):
        assert line in answer.output
    assert "Nothing was taken" in answer.output
    assert "no workshop here" in answer.output


def test_a_formula_is_judged_by_the_new_table(tmp_path: Path) -> None:
    from decimal import Decimal

    from app.reference.rulebook import rulebook
    from app.science.rules.values import Exposure, FormulaFacts

    table = rows()
    phenoxyethanol(table)["max_percent"] = "0.5"
    new = read_law_table(write(tmp_path / "new.csv", table), "EU")
    facts = FormulaFacts(materials({"Aqua": "99", "Phenoxyethanol": "0.9"}), Exposure.LEAVE_ON, Decimal("5.5"))
    found = check_formula(facts, with_limits(rulebook("EU"), "EU", new)).findings
    assert any(f.severity == Severity.STOP and f.limit == Decimal("0.5") for f in found)
    assert not any(f.severity == Severity.STOP for f in check_formula(facts, rulebook("EU")).findings)


def test_a_table_is_taken_only_when_asked_and_the_old_one_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = write(tmp_path / "EU.csv", rows())
    monkeypatch.setattr(laws, "shipped_path", lambda _jurisdiction: place)
    table = rows()
    phenoxyethanol(table)["max_percent"] = "0.5"
    new = write(tmp_path / "new.csv", table)
    before = place.read_bytes()
    run(str(new), "--jurisdiction", "EU", "--data", str(tmp_path / "none"))
    assert place.read_bytes() == before
    answer = run(str(new), "--jurisdiction", "EU", "--take", "--data", str(tmp_path / "none"))
    assert "Taken." in answer.output
    assert place.read_bytes() == new.read_bytes()
    (kept,) = tmp_path.glob("EU.csv.before-*")
    assert kept.read_bytes() == before


def test_a_wrong_table_is_never_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = write(tmp_path / "EU.csv", rows())
    monkeypatch.setattr(laws, "shipped_path", lambda _jurisdiction: place)
    table = rows()
    phenoxyethanol(table)["max_percent"] = "-1"
    before = place.read_bytes()
    new = str(write(tmp_path / "n.csv", table))
    answer = run(new, "--jurisdiction", "EU", "--take", "--data", str(tmp_path))
    assert answer.exit_code == 1
    assert "row " in answer.output
    assert place.read_bytes() == before


def test_a_table_without_its_jurisdiction_is_asked_for(tmp_path: Path) -> None:
    answer = run(str(write(tmp_path / "new.csv", rows())))
    assert answer.exit_code == 2
    assert "--jurisdiction" in answer.output


def test_the_report_prints_recall_and_false_alarms() -> None:
    answer = run("--report")
    assert answer.exit_code == 0
    assert "Said at the right strength" in answer.output
    assert "Formulas with a false stop or caution" in answer.output
