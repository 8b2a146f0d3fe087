"""Studies of days like one of ours: done in pieces, told with what is left, equal to the command's."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from server.analysis.day_fit import fit_day
from server.analysis.simulate_like import plan_or_refuse
from server.analysis.simulate_plan import default_plan
from server.analysis.study import day_seeds, gathered, run_study, study_to_json
from server.archive.archive import Archive
from server.days.service import IncomingDay, keep_day, newest_revision
from server.locations import sample_day_folders
from server.readers.load_day import load_day
from server.results.long_work import Pace, in_words
from server.results.service import keep_result, write_result
from server.results.study_job import (
    STUDY_FILE,
    KeptStudy,
    all_trials,
    find_study,
    keep_study,
    queue_study,
    read_trials,
    study_work,
)
from server.results.study_view import study_view
from tests.results.fake_long import one_day


def silent(_: float, __: str) -> None:
    """Nobody listens."""


def test_a_study_goes_on_where_it_was_left(tmp_path: Path) -> None:
    plan, payload, file = default_plan(), {"days": 12, "seed": 5}, tmp_path / "trials.jsonl"
    whole = all_trials(plan, payload, tmp_path / "whole.jsonl", silent, one_day)
    shutil.copy(tmp_path / "whole.jsonl", file)
    lines = file.read_text().splitlines(keepends=True)
    file.write_text("".join(lines[:7]) + lines[7][:40])  # killed in the middle of a line
    asked: list[int] = []

    def counted(plan: Any, seed: int) -> Any:
        asked.append(seed)
        return one_day(plan, seed)

    again = all_trials(plan, payload, file, silent, counted)
    assert asked == day_seeds(5, 12)[7:]
    assert study_to_json(gathered(plan, 5, again)) == study_to_json(gathered(plan, 5, whole))
    assert [trial.seed for trial in read_trials(file)] == day_seeds(5, 12)


def test_progress_says_how_many_and_how_long(tmp_path: Path) -> None:
    said: list[tuple[float, str]] = []
    all_trials(
        default_plan(), {"days": 5, "seed": 1}, tmp_path / "t", lambda part, text: said.append((part, text)), one_day
    )
    assert [text.partition(",")[0] for _, text in said] == [f"{n} of 5 days" for n in range(5)]
    assert all(text.endswith("less than a minute left") for _, text in said[1:])
    assert [part for part, _ in said] == sorted(part for part, _ in said)


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        *((3.0, "less than a minute left"), (61.0, "about 1 min left"), (1490.0, "about 25 min left")),
        (3 * 3600.0, "about 3 h left"),
    ],
)
def test_a_time_in_words(seconds: float, words: str) -> None:
    assert in_words(seconds) == words
    assert Pace(10).left(0) == ""


def content(held: int, days: int = 100) -> dict[str, Any]:
    row = {
        "setup": "A", "baseline": None, "quantity": "SCx", "unit": "m²", "source": "measured", "days": days,
        "held": held, "coverage": held / days, "coverage_low": 0.887, "coverage_high": 0.984,
        "expected_low": 0.89, "expected_high": 0.99, "rms_z": 1.02, "rms_error": 0.031, "mean_u95": 0.06,
    }  # fmt: skip
    return {"days": days, "seed": 1, "without_area": 2, "stopped_by": {"no-area": 2}, "rows": [row]}


@pytest.mark.parametrize(("held", "verdict"), [(95, "As many as honest"), (88, "too seldom"), (100, "too often")])
def test_the_sentence_says_what_held_and_what_that_means(held: int, verdict: str) -> None:
    view = study_view(KeptStudy(7, 1, 3, "Ana", "2026-05-09T10:00:00.0+00:00", "0" * 64, content(held)), 4)
    assert f"{held} of 100 intervals of SCx of setup A held the truth" in view.sentence
    assert "(99 % bounds of honest ones: 89 to 99)" in view.sentence
    assert "RMS(error/u) 1.02" in view.sentence
    assert verdict in view.verdict
    assert view.older
    assert view.without_area == "2 of 100 days gave no drag area: no-area (2)."
    assert view.table.rows[0][:4] == ("A: Drag area SCx", 100, f"{held:.1f} %", "88.7 to 98.4 %")


def test_no_area_at_all_is_said() -> None:
    none = {**content(95), "rows": []}
    view = study_view(KeptStudy(7, 1, 3, "Ana", "2026-05-09T10:00", "0" * 64, none), 3)
    assert "None of 100" in view.sentence
    assert not view.older


@pytest.mark.study
def test_a_real_study_equals_the_commands(tmp_path: Path) -> None:
    """Two days like a made-up one of the sample season: the job's table is that of `stillair study`."""
    folder = sample_day_folders()[0]
    day = load_day(folder)
    result = fit_day(day)
    archive = Archive(tmp_path)
    archive.open()
    write_result(result, tmp_path / "result.zip")
    with archive.database.writing() as session:
        kept = keep_day(archive, session, IncomingDay(day.name, day.date, folder, "sample"))
        row = keep_result(archive, session, newest_revision(session, kept.id), tmp_path / "result.zip")
        job_id = queue_study(archive, session, kept.id, 2, "Ana")
        from server.archive.jobs import find_job

        payload, result_id = find_job(session, job_id).payload, row.id
    study_work(payload, silent)
    with archive.database.writing() as session:
        number = int(keep_study(archive, session, payload, {}))
        found = find_study(archive, session, 1, number)
    archive.close()
    whole = study_to_json(run_study(plan_or_refuse(day, result), 2, payload["seed"], workers=1))
    assert {name: found.content[name] for name in whole} == json.loads(json.dumps(whole))
    assert (found.result_id, found.who) == (result_id, "Ana")
    assert (Path(payload["scratch"]) / STUDY_FILE).is_file()
