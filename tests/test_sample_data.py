"""The made-up season: made again byte for byte, small, plausible, and fitted around its truth."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from server.analysis.day_fit import fit_day
from server.analysis.make_samples import write_samples
from server.analysis.sample_season import AREAS, season
from server.analysis.simulate import simulate_day
from server.analysis.simulate_lengths import trip_lengths
from server.readers.load_day import load_day

SAMPLES = Path(__file__).parents[1] / "sample_data"
DAYS = [day.folder for day in season()]
TRUTH = json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))


def files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()
    }


def test_made_again_the_season_is_the_same_to_the_byte(tmp_path):
    write_samples(tmp_path)
    made, kept = files(tmp_path), files(SAMPLES)
    kept.pop("README.md")
    assert made.keys() == kept.keys()
    assert [name for name, content in made.items() if content != kept[name]] == []


def test_season_is_small():
    assert sum(len(content) for content in files(SAMPLES).values()) < 6_000_000


def test_readme_says_it_is_made_up_by_which_command_seed_and_truth():
    readme = (SAMPLES / "README.md").read_text(encoding="utf-8")
    assert "made up" in readme
    assert "python -m server.analysis.make_samples" in readme
    seeds = [day.seed for day in season()]
    assert f"({seeds[0]} to {seeds[-1]}" in readme
    assert [TRUTH[day.folder]["seed"] for day in season()] == seeds
    for row, index in (("SCx", 0), ("SCz front", 1), ("SCz rear", 2)):
        values = " | ".join(f"{areas[index]:.2f} m²" for areas in AREAS.values())
        assert f"| {row} | {values} |" in readme


@pytest.mark.parametrize("day", season(), ids=DAYS)
def test_straight_is_long_enough_to_accelerate_coast_and_stop(day):
    for run in day.plan.runs:
        lengths = trip_lengths(day.plan, run)
        near, far = day.plan.driver.marks_m
        # stopping from the highest speed, from either mark onwards, stays on the straight
        stop = max(high for high, _ in run.speeds()) ** 2 / (2.0 * day.plan.driver.brake_mps2)
        assert near > stop + 50.0
        assert far + stop + 50.0 < day.plan.venue.length_m
        assert lengths.total_m < day.plan.venue.length_m - near
        assert 15.0 < lengths.coast_s < 30.0


def test_loaded_season_is_a_plausible_car():
    # common practice, no source: a student car with driver weighs 300 to 330 kg, L/D is 2 to 3
    for scx, front, rear in AREAS.values():
        assert 2.0 < (front + rear) / scx < 3.0
    for folder in DAYS:
        day = load_day(SAMPLES / folder)
        for run in day.runs:
            mass = day.car.mass_kg.value + run.driver_mass_kg.value
            assert 300.0 < mass < 330.0
            speed = np.concatenate(
                [r.signals["gps_speed"].values for r in run.recordings if "gps_speed" in r.signals]
            )
            assert 26.0 < np.max(speed) < 30.0
            assert math.isfinite(float(np.sum(speed)))


SPEEDS = {"gps_speed": 0.002}
PEDALS = {"throttle": 0.006, "brake_pressure": 6e3}
WHEELS = {"wheel_speed_fl": 0.002, "wheel_speed_fr": 0.002}
PLACES = {"latitude": 1e-9, "longitude": 1e-9}
DAMPERS = dict.fromkeys(("damper_fl", "damper_fr", "damper_rl", "damper_rr"), 1e-5)
HEIGHTS = dict.fromkeys(("ride_height_front", "ride_height_rear"), 6e-5)
LOGGED = dict(
    zip(
        DAYS,
        (
            SPEEDS | PEDALS | WHEELS,
            SPEEDS | PEDALS | WHEELS | PLACES | DAMPERS | HEIGHTS,
            SPEEDS | PEDALS | WHEELS | PLACES | DAMPERS | HEIGHTS,
            SPEEDS | PLACES,
        ),
        strict=True,
    )
)
"""Role → half a last digit as written, and a little, in SI."""


@pytest.mark.parametrize("day", season(), ids=DAYS)
def test_logs_read_back_are_what_was_simulated(day):
    simulated = simulate_day(day.plan, day.seed, dampers=True)
    loaded = load_day(SAMPLES / day.folder)
    first = simulated.day.runs[0].start_clock_s
    for run, true_run in zip(loaded.runs, simulated.day.runs, strict=True):
        assert (run.number, run.setup) == (true_run.number, true_run.setup)
        assert run.start_clock_s == true_run.start_clock_s
        true = true_run.recordings[0].signals
        read = {role: signal for r in run.recordings for role, signal in r.signals.items()}
        # one file of both runs keeps its own clock
        zero = true_run.start_clock_s - first if "only" in day.folder else 0.0
        for role, tolerance in LOGGED[day.folder].items():
            time_s = read[role].time_s - zero
            assert len(time_s) > 0.98 * len(true[role].time_s)
            expected = np.interp(time_s, true[role].time_s, true[role].values)
            difference = read[role].values - expected
            if role.startswith("damper"):
                difference = difference - np.mean(difference)  # a damper's zero is arbitrary
            assert np.max(np.abs(difference)) < tolerance, role


@pytest.fixture(scope="module", params=DAYS)
def fitted(request):
    return request.param, fit_day(load_day(SAMPLES / request.param))


def test_every_setup_has_a_drag_area_that_holds_the_truth(fitted):
    folder, result = fitted
    assert {setup.name for setup in result.setups} == set(TRUTH[folder]["setups"])
    for setup in result.setups:
        truth = TRUTH[folder]["setups"][setup.name]
        for quantity in ("SCx", "SCx_apparent"):
            found = setup.estimates[quantity]
            assert found.low95 <= truth[quantity] <= found.high95, (setup.name, quantity)


def test_differences_hold_the_truth(fitted):
    folder, result = fitted
    setups = TRUTH[folder]["setups"]
    assert len(result.comparisons) == len(setups) - 1
    for comparison in result.comparisons:
        found = comparison.deltas["SCx"]
        true = setups[comparison.setup]["SCx"] - setups[comparison.baseline]["SCx"]
        assert found.low95 <= true <= found.high95, comparison.setup


def test_every_coast_down_was_found(fitted):
    folder, result = fitted
    plan = next(day.plan for day in season() if day.folder == folder)
    for setup in result.setups:
        used = [p for p in setup.passes if p.used and p.kind == "coast-down"]
        driven = [d for run in plan.runs if run.setup == setup.name for d in run.directions]
        assert len(used) == len(driven)
        assert [p.direction for p in used] == [1 if d == "out" else -1 for d in driven]


def test_prediction_of_c_is_the_one_that_is_off():
    day = load_day(SAMPLES / DAYS[1])
    for setup, areas in AREAS.items():
        cases = [c.scx_m2.value for c in day.predictions if c.setup == setup and not c.part]
        parts = [c.scx_m2.value for c in day.predictions if c.setup == setup and c.part]
        middle = float(np.median(cases))
        assert math.isclose(sum(parts), middle, rel_tol=1e-3)
        assert (middle / areas[0] < 0.93) == (setup == "C")
        assert setup == "C" or abs(middle / areas[0] - 1.0) < 0.02
