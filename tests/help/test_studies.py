"""The help shows studies in the forms that the study commands write."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import pytest

from server.analysis.study import Study as SimulatedStudy
from server.analysis.study import StudyRow, study_to_json
from server.help.studies import COVERAGE_COLUMNS, SIMULATED_COLUMNS, further_tables, studies, study_of
from tests.studies.report import row
from tests.studies.statistics import Tally


def test_columns_are_fields_of_what_the_commands_write() -> None:
    coverage = {*Tally.__dataclass_fields__, *row("all days", [])}
    assert {key for key, _, _ in COVERAGE_COLUMNS} <= coverage
    assert {key for key, _, _ in SIMULATED_COLUMNS} <= set(StudyRow.__slots__)


def test_the_hostile_study_becomes_a_table() -> None:
    tally = dataclasses.asdict(Tally(1000, 4, 950, 0.954, 0.934, 0.97, 1.02, 0.01, 0.2, 0.0171, 0.016))
    content = {
        "about": {"command": "python -m tests.studies coverage", "first_seed": 1},
        "days": 1000,
        "scx": [{"stratum": "all days", **tally, "interval_three_rms": 0.09, "interval_two_rms": None}],
        "delta_scx": tally,
        "misses": [],
        "delta_misses": ["differences: fewer than they should."],
    }
    study = study_of(content)
    first = dict(zip(study.table.columns, study.table.rows[0], strict=True))
    assert first["held the truth"] == "95.4 %"
    assert (first["interval method, 3 terms"], first["2 terms"]) == ("9.0 %", "")
    assert study.table.rows[1][0] == "differences of setups"
    assert study.note == "differences: fewer than they should."
    assert study.text == "Drawn with first seed 1."


def test_a_simulated_study_becomes_a_table() -> None:
    numbers = (0.95, 0.9, 0.98, 0.91, 0.98, 1.4, 0.001, 0.0213, 1.01, 0.0421, 0.2)
    line = StudyRow("A", None, "SCx", "m²", "measured", 200, 190, *numbers)
    fields = {field.name for field in dataclasses.fields(SimulatedStudy)}
    known = {"name": "long apron", "days": 200, "seed": 1, "passes": 8, "rows": (line,), "without_area": 2}
    known |= {"stopped_by": ()}
    study = study_of(study_to_json(SimulatedStudy(**{k: v for k, v in known.items() if k in fields})))
    assert study.table.rows[0] == (
        *("A", "", "SCx", "m²", "200", "95.0 %", "90.0 %", "98.0 %", "0.0213", "1.01", "0.0421"),
    )
    assert study.title == "200 simulated days like “long apron”"


def test_any_table_can_stand_there(tmp_path: Path) -> None:
    plain = {
        "title": "Speed",
        "command": "python -m tests.benchmarks",
        "columns": ["a"],
        "rows": [[1.5], [None]],
    }
    (tmp_path / "a.json").write_text(json.dumps(plain))
    (tmp_path / "b.jsonl").write_text("not read")
    (study,) = studies(tmp_path)
    assert study.table.rows == ((1.5,), (None,))


def test_what_is_no_study_is_refused() -> None:
    with pytest.raises(ValueError, match="a study must hold"):
        study_of({"rows": []})


def test_the_studies_of_this_copy_can_all_be_shown() -> None:
    assert [study for study in studies() if not study.table.rows] == []


def test_further_tables_stand_after_their_study(tmp_path: Path) -> None:
    """Rows are written already; the note and the command of the file stand below each."""
    table = {"title": "SCz", "columns": ["kind of day", "RMS error"], "rows": [["calm", "1.1 %"]], "note": "4 pairs."}
    first = {"title": "T", "command": "python -m tests.studies loads", "columns": ["a"], "rows": [["1"]]}
    (tmp_path / "a.json").write_text(json.dumps({**first, "tables": [table, {**table, "note": ""}]}))
    _, second, third = studies(tmp_path)
    assert (second.title, second.note, second.command) == ("SCz", "4 pairs.", "python -m tests.studies loads")
    assert second.table.columns == ("kind of day", "RMS error")
    assert second.table.rows == (("calm", "1.1 %"),)
    assert third.note == ""


def test_further_tables_of_the_coverage_study_stand_after_its_own() -> None:
    from server.locations import web_folder

    content = json.loads((web_folder() / "help" / "coverage.json").read_text("utf-8"))
    table = {"title": "Balance", "columns": ["a"], "rows": [["0.3 points"]], "note": ""}
    (found,) = further_tables({**content, "tables": [table]})
    assert found.command == "python -m tests.studies coverage"
    assert further_tables({key: value for key, value in content.items() if key != "tables"}) == []


@pytest.mark.parametrize("wrong", [{"rows": [["x"]]}, {"title": "T", "columns": ["a", "b"], "rows": [["x"]]}])
def test_a_table_that_cannot_be_shown_is_refused(wrong: dict) -> None:  # type: ignore[type-arg]
    with pytest.raises(ValueError, match="table"):
        further_tables({"command": "c", "tables": [wrong]})
