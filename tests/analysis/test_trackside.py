"""What a fit says between two outings: what more passes bring, whether the baseline moved, whether a brake drags."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.analysis import day_fit
from server.analysis.ballast import with_ballast
from server.analysis.day_posterior import DayPosterior
from server.analysis.dragging_brake import brake_findings, coasting_pressures, limit_of
from server.analysis.outlook import _Ahead
from server.analysis.result import AddedPasses, DayResult
from server.analysis.simulate import plan_like, simulate_day
from server.analysis.simulate_plan import default_plan
from server.analysis.trackside_findings import trackside_findings
from server.testday.values import Day, Quantity, Run
from tests.studies.trackside import dragging_day, moved_day, promise


@pytest.fixture(scope="module")
def fitted() -> tuple[Day, DayResult, DayPosterior]:
    """A calm day with load sensors, its result, and the posterior that the outlook was made of."""
    day, seen = simulate_day(default_plan(pairs=2, gust_sd_mps=0.4, loads=True), 2_610_011).day, []
    make = day_fit.outlooks
    day_fit.outlooks = lambda posterior, pairs: (seen.append(posterior), make(posterior, pairs))[1]  # type: ignore[assignment]
    try:
        result = day_fit.fit_day(day)
    finally:
        day_fit.outlooks = make
    return day, result, seen[0]


def test_without_more_passes_the_outlook_is_the_posterior_itself(fitted: tuple[Day, DayResult, DayPosterior]) -> None:
    """Made anew from rows, prior and nothing else, the covariance is the fit's own to rounding."""
    _, _, posterior = fitted
    ahead = _Ahead(posterior, [("B", "A")])
    p, u = len(posterior.problem.priors.parameters), posterior.problem.priors.u
    made = ahead._covariance(()) * np.outer(u, u)
    assert np.sqrt(np.diag(made)) == pytest.approx(np.sqrt(np.diag(posterior.mode_covariance[:p, :p])), rel=1e-6)


def test_more_passes_narrow_and_most_where_they_are_driven(fitted: tuple[Day, DayResult, DayPosterior]) -> None:
    _, result, _ = fitted
    of = {one.added: one.shrink for one in result.outlook}
    widths = [of[AddedPasses("B", n, n),]["B"] for n in (1, 2, 3, 4, 6)]
    assert widths == sorted(widths, reverse=True)
    assert all(0.2 < width < 1.0 for width in widths)
    two = of[AddedPasses("B", 2, 2),]
    assert two["B"] < two["A"] <= 1.0 + 1e-9
    split = of[AddedPasses("B", 2, 2), AddedPasses("A", 2, 2)]
    assert split["B − A"] < min(two["B − A"], of[AddedPasses("A", 2, 2),]["B − A"])


def test_a_promise_is_what_the_later_fit_gives_within_a_fifth() -> None:
    """Two days that nothing was tuned on; the study of 108 days is in the developers' page."""
    ratios = [ratio for seed in (2_610_012, 2_610_013) for ratio in promise(seed)["ratios"].values()]
    assert len(ratios) == 4
    assert abs(float(np.median(ratios)) - 1.0) < 0.2
    assert all(abs(ratio - 1.0) < 0.4 for ratio in ratios)


def test_a_brake_that_drags_is_found_in_its_run_and_a_free_one_is_not() -> None:
    day, run = dragging_day(2_610_018, 60.0)
    said = [finding for finding in day_fit.fit_day(day).findings if finding.code == "brake-dragging"]
    assert [finding.run for finding in said] == [run]
    assert "N more than the rest of the day, at every speed alike: a brake may be dragging" in said[0].text
    healthy, _ = dragging_day(2_610_018, 0.0)
    assert not [finding for finding in day_fit.fit_day(healthy).findings if finding.code.startswith("brake-")]


def test_brake_pressure_that_one_run_alone_has_while_coasting(fitted: tuple[Day, DayResult, DayPosterior]) -> None:
    day, _, posterior = fitted
    assert max(abs(excess) for excess in coasting_pressures(posterior, day).values()) < 20_000.0
    pressed = replace(day, runs=tuple(pressing(run, 120_000.0 if run.number == 2 else 0.0) for run in day.runs))
    found = coasting_pressures(posterior, pressed)
    assert found[2] == pytest.approx(120_000.0, abs=20_000.0)
    said = [finding for finding in brake_findings(posterior, pressed) if finding.code == "brake-pressed"]
    assert [finding.run for finding in said] == [2]
    assert "is 1.2 bar above that of the other runs" in said[0].text


def pressing(run: Run, more_pa: float) -> Run:
    """The run with more brake pressure all along."""
    recording = run.recordings[0]
    signal = recording.signals["brake_pressure"]
    signals = {**recording.signals, "brake_pressure": replace(signal, values=signal.values + more_pa)}
    return replace(run, recordings=(replace(recording, signals=signals),))


def test_the_largest_of_many_suspicions_must_stand_out_more() -> None:
    """Student's t: with few passes the tyres' scatter is hardly known. t(0.99, 11) and t(0.995, 11) from memory."""
    assert limit_of(4, 11) == pytest.approx(2.718, abs=1e-3)
    assert limit_of(8, 11) == pytest.approx(3.106, abs=1e-3)
    assert limit_of(5, 11) > limit_of(5, 40) > limit_of(2, 40)
    assert limit_of(3, 0) == np.inf


def test_a_baseline_that_moved_is_told_and_one_that_did_not_is_not() -> None:
    moved = {one.quantity: one for one in day_fit.fit_day(moved_day(2_610_015, 0.25)).drift}
    assert moved["SCx"].moved
    assert moved["SCx"].changes[0].low95 < 0.25 < moved["SCx"].changes[0].high95
    assert moved["SCx"].runs == (1, 3)
    still = day_fit.fit_day(moved_day(2_610_015, 0.0)).drift
    assert not any(one.moved for one in still)


def test_ballast_is_part_of_the_mass_of_its_setups_runs() -> None:
    day = simulate_day(default_plan(pairs=1), 2_610_016).day
    heavy = replace(day, setups=(day.setups[0], replace(day.setups[1], ballast_kg=Quantity(12.0, 0.3))))
    masses = {run.setup: run.driver_mass_kg for run in with_ballast(heavy).runs}
    assert masses["A"] == day.runs[0].driver_mass_kg
    assert (masses["B"].value, masses["B"].u) == (84.0, pytest.approx(0.34**0.5))
    twice = with_ballast(with_ballast(heavy))
    assert [run.driver_mass_kg for run in twice.runs] == [run.driver_mass_kg for run in with_ballast(heavy).runs]
    assert with_ballast(day) is day


def test_days_like_one_with_ballast_carry_it_once(fitted: tuple[Day, DayResult, DayPosterior]) -> None:
    day, result, _ = fitted
    heavy = replace(day, setups=(day.setups[0], replace(day.setups[1], ballast_kg=Quantity(12.0, 0.3))))
    plan = plan_like(heavy, result)
    assert {run.setup: run.driver_mass_kg.value for run in plan.runs} == {"A": 72.0, "B": 84.0}
    assert all(one.setup.ballast_kg is None for one in plan.setups)


def run_with(cold: tuple[float | None, ...], hot: tuple[float | None, ...] = ()) -> Run:
    return Run(1, "A", (), Quantity(72.0), tyre_cold_pa=cold, tyre_hot_pa=hot)


@pytest.mark.parametrize(
    ("run", "words"),
    [
        (run_with((95e3, 94e3, 90e3, 90e3), (101e3, 100e3, 96e3, 96e3)), ""),
        (run_with((95e3, 80e3, 90e3, 90e3)), "front left 0.95 bar and front right 0.80 bar differ"),
        (run_with((95e3, None, 90e3, 90e3)), ""),
        (run_with((95e3, 95e3, 90e3, 12e3)), "rear right is nearly flat (0.12 bar cold)"),
        (run_with((95e3, 95e3, 90e3, 90e3), (60e3, 99e3, 95e3, 95e3)), "from 0.95 bar cold to 0.60 bar hot"),
    ],
)
def test_tyre_pressures_that_need_a_person(run: Run, words: str) -> None:
    day = replace(simulate_day(default_plan(pairs=1), 2_610_017).day, runs=(run,))
    said = [finding for finding in trackside_findings(day) if finding.code == "tyre-pressures"]
    assert [finding.run for finding in said] == ([1] if words else [])
    assert words in (said[0].text if said else "")


def test_only_the_newest_reading_speaks_of_now() -> None:
    day = simulate_day(default_plan(pairs=1), 2_610_017).day
    calm = replace(day.weather[0], clock_s=9 * 3600.0, surface="dry", wind_speed_mps=Quantity(2.0, 0.3))
    rough = replace(calm, clock_s=10 * 3600.0, surface="wet", wind_speed_mps=Quantity(6.0, 0.3))
    codes = [finding.code for finding in trackside_findings(replace(day, weather=(calm, rough)))]
    assert codes == ["wind-limit", "surface-wet"]
    assert not trackside_findings(replace(day, weather=(rough, replace(calm, clock_s=11 * 3600.0))))
