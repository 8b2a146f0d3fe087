"""The study itself: fakes of known honesty are judged rightly; a stopped study goes on where it stopped."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.studies.__main__ import main
from tests.studies.fields import scenario_field
from tests.studies.records import DayRecord
from tests.studies.report import judge, row, summary, table
from tests.studies.runner import Plan, run


def days_of(fitter: str, days: int = 80) -> Plan:
    return Plan(days, fitter=fitter, changes={"pairs": 1, "setups": 2})


@pytest.fixture(scope="module")
def honest_days() -> list[DayRecord]:
    return run(days_of("honest"))


def test_an_honest_fit_passes(honest_days: list[DayRecord]) -> None:
    found = summary(honest_days, {})
    assert found["misses"] == []
    assert found["delta_misses"] == []


def test_an_overconfident_fit_is_flagged() -> None:
    found = summary(run(days_of("overconfident")), {})
    assert any("too narrow" in m for m in found["misses"])
    assert any("RMS(error/u)" in m for m in found["misses"])
    assert any("too narrow" in m for m in found["delta_misses"])


def test_a_timid_fit_is_flagged() -> None:
    found = summary(run(days_of("timid", 120)), {})
    assert any("too wide" in m for m in found["misses"])
    assert any("RMS(error/u)" in m for m in found["misses"])


def test_silence_and_errors_are_counted_not_hidden() -> None:
    found = summary(run(days_of("silent", 40)), {})
    whole = found["scx"][0]
    assert (whole["n"], whole["missing"]) == (40, 8)
    assert len(found["failed"]) == 4
    assert "a fit that fails" in found["failed"][0]["error"]
    assert any("4 of 40 days raised an error" in m for m in found["misses"])
    assert whole["interval_three_missing"] == 40
    assert found["delta_scx"]["missing"] == 8


def test_a_bad_stratum_is_named_though_the_whole_is_good(honest_days: list[DayRecord]) -> None:
    rows = [row("all days", honest_days), row("calm", honest_days), row("one way only", honest_days)]
    assert judge(rows) == []
    rows[1]["coverage"] = rows[2]["coverage"] = 0.86
    assert judge(rows) == [f"calm: 86.0% of {len(honest_days)} days hold the truth, below 90 %."]


def test_a_stopped_study_goes_on_and_gives_the_same(tmp_path: Path) -> None:
    whole, stopped = tmp_path / "whole.jsonl", tmp_path / "stopped.jsonl"
    expected = run(days_of("honest", 12), store=whole)
    run(days_of("honest", 5), store=stopped)
    with stopped.open("a", encoding="utf-8") as lines:
        lines.write('{"seed": 6, "half')
    resumed = run(days_of("honest", 12), store=stopped)
    assert [d.seed for d in resumed] == list(range(1, 13))
    assert [d.claims for d in resumed] == [d.claims for d in expected]
    assert len(stopped.read_text(encoding="utf-8").splitlines()) == 13


def test_another_study_is_not_mixed_in(tmp_path: Path) -> None:
    store = tmp_path / "study.jsonl"
    run(days_of("honest", 1), store=store)
    with pytest.raises(SystemExit, match="another study"):
        run(days_of("timid", 1), store=store)


def test_two_processes_give_what_one_gives() -> None:
    plan = days_of("honest", 6)
    assert [d.claims for d in run(plan, processes=2)] == [d.claims for d in run(plan)]


def test_the_command_writes_a_table_and_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "coverage.json"
    words = ["coverage", "--days", "60", "--processes", "1", "--out", str(out), "--set", "pairs=1"]
    assert main([*words, "--fitter", "overconfident"]) == 1
    found = json.loads(out.read_text(encoding="utf-8"))
    printed = capsys.readouterr()
    assert found["scx"][0]["stratum"] == "all days"
    assert found["about"]["changes"] == {"pairs": 1}
    assert "too narrow" in printed.out
    assert "60 of 60 days" in printed.err
    assert all(len(line) <= 140 for line in table(found).splitlines())


def test_fields_of_a_scenario_are_read_by_their_types() -> None:
    assert scenario_field("pairs=4") == ("pairs", 4)
    assert scenario_field("one_way=true") == ("one_way", True)
    assert scenario_field("speeds_mps=30,15") == ("speeds_mps", (30.0, 15.0))
    assert scenario_field("load_sources=damper,push rod") == ("load_sources", ("damper", "push rod"))
    assert scenario_field("constant_speeds_mps=15") == ("constant_speeds_mps", (15.0,))
    assert scenario_field("gust_mode=length") == ("gust_mode", "length")
    for wrong in ("pears=4", "wind=breezy", "pairs=some", "speeds_mps=30", "hard=maybe"):
        with pytest.raises(Exception, match=r"no field|is one of|is no value"):
            scenario_field(wrong)
