"""The study of differences: its days drift, its fakes of known honesty are told from each other, its report says so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from server.help.studies import study_of
from tests.simulator import draw_day
from tests.studies.differences import (
    difference_row,
    differences_summary,
    draw_compared_scenario,
    drift_of,
    misses,
    told_of,
)
from tests.studies.fitters import _only
from tests.studies.records import Claim, DayRecord
from tests.studies.runner import Plan, run
from tests.studies.seasons import held_of, kinds, made_season

NUISANCE = {"gust_sigma": 0.4, "gust_time": 6.0, "gust_in_length": False, "linear_z": 0.0, "cross_wind": 0.0}


def record(seed: int, error: float, u: float, claimed: float = 1.0) -> DayRecord:
    """A day whose differences are off by `error` times u and claim `claimed` times that u."""
    scenario = draw_compared_scenario(seed)
    told = claimed * u
    deltas = tuple(
        Claim(name, "SCx", 0.1, 0.1 + error * u, told, 0.1 + error * u - 1.96 * told, 0.1 + error * u + 1.96 * told)
        for name in "BC"[: scenario.setups - 1]
    )
    return DayRecord(seed, {**vars_of(scenario)}, NUISANCE, 1.0, deltas=deltas)


def vars_of(scenario: object) -> dict[str, object]:
    return {name: getattr(scenario, name) for name in scenario.__dataclass_fields__}  # type: ignore[attr-defined]


def made(days: int, claimed: float = 1.0, u: float = 0.02) -> list[DayRecord]:
    rng = np.random.default_rng(7)
    return [record(seed, float(rng.standard_normal()), u, claimed) for seed in range(1, days + 1)]


def test_every_day_has_a_baseline_on_both_sides_of_its_changes() -> None:
    scenarios = [draw_compared_scenario(seed) for seed in range(200)]
    assert {one.setups for one in scenarios} == {2, 3}
    assert {one.pairs for one in scenarios} == {1, 2, 4, 8}
    hostile = draw_day(3, replace(scenarios[3], pairs=2, setups=2, passes_per_run=2))
    visited = [run.setup for run in hostile.day.runs]
    assert visited[0] == visited[-1] == "A"
    assert "B" in visited


def test_drift_is_that_of_the_day_that_is_drawn() -> None:
    for seed in (4, 5):
        scenario = replace(draw_compared_scenario(seed), pairs=1)
        drift, hostile = drift_of(seed, scenario), draw_day(seed, scenario)
        readings = hostile.day.weather
        hours = (readings[-1].clock_s - readings[0].clock_s) / 3600.0  # type: ignore[operator]
        warmed = readings[-1].temperature_k.value - readings[0].temperature_k.value
        assert warmed == pytest.approx(drift.air_k_per_h * hours, abs=0.1 + 0.1 * abs(drift.air_k_per_h) * hours**2)
        assert -0.03 <= drift.tyres_per_hour <= 0.02


def test_a_change_fitted_apart_sees_none_of_the_other() -> None:
    hostile = draw_day(2, replace(draw_compared_scenario(2), pairs=1))
    alone = _only(hostile.day, "B")
    assert {run.setup for run in alone.runs} == {one.name for one in alone.setups} == {"B"}
    assert alone.setups[0].baseline is None


def test_honest_differences_pass_and_overconfident_ones_do_not() -> None:
    assert misses([difference_row("all days", told_of(made(400), []))]) == []
    assert misses([difference_row("all days", told_of(made(150, claimed=0.6), []))])


def test_the_joint_u_stands_beside_that_of_two_fits() -> None:
    joint, apart = made(80), [replace(day, deltas=tuple(
        replace(one, u=0.03) for one in day.deltas)) for day in made(40)]  # fmt: skip
    apart[0] = replace(apart[0], deltas=tuple(replace(one, u=0.01) for one in apart[0].deltas))
    found = differences_summary(joint, apart, {"command": "c", "first_seed": 1})
    whole = found["figures"][0]
    assert whole["apart"] == 40
    assert whole["ratio"][0] == pytest.approx(2.0 / 3.0)
    assert whole["larger"] == 1
    assert [one["seed"] for one in found["larger"]] == [1]
    study = study_of(found)
    assert len(study.table.columns) == len(study.table.rows[0])


def test_made_seasons_hold_as_often_as_said_where_days_are_alike() -> None:
    kind = next(one for one in kinds() if one.words == "6 days, 40% missing, τ_b 1, τ_d 1")
    held, half = held_of(kind, 40, 2_695_101)
    assert held >= 34  # 95 % less 3 u of 40
    assert 1.5 < half < 4.5
    assert [day.places for day in made_season(np.random.default_rng(1), kind)]


def test_the_runner_draws_and_keeps_such_days(tmp_path: Path) -> None:
    plan = Plan(3, 1, "honest", compared=True)
    days = run(plan, store=tmp_path / "joint.jsonl")
    assert all(day.deltas for day in days)
    assert '"compared": true' in (tmp_path / "joint.jsonl").read_text().splitlines()[0]
    assert [day.deltas for day in run(plan, store=tmp_path / "joint.jsonl")] == [day.deltas for day in days]
