"""The fit of a day, as its users meet it: what it finds, what it refuses, what it says."""

from dataclasses import replace

import numpy as np
import pytest

from server.aero.coast_down import QuadraticLaw, speed_after
from server.analysis import day_fit
from server.analysis.day_fit import fit_day
from server.analysis.result import DayResult
from server.analysis.result_json import result_to_json
from server.testday.values import Day, Quantity, Recording, Signal
from tests.simulator import HostileDay, Scenario, draw_day


@pytest.fixture(scope="module")
def drawn() -> HostileDay:
    return draw_day(21, Scenario(pairs=3, setups=2, wind="calm"))


@pytest.fixture(scope="module")
def result(drawn: HostileDay) -> DayResult:
    return fit_day(drawn.day)


def codes(result: DayResult) -> set[str]:
    return {f.code for f in result.findings}


def test_truth_lies_within_three_u_of_every_estimate(drawn: HostileDay, result: DayResult) -> None:
    for setup in result.setups:
        truth = drawn.truth["setups"][setup.name]
        for name, estimate in setup.estimates.items():
            assert abs(estimate.value - truth[name]) < 3.3 * estimate.u, (setup.name, name)
        assert setup.estimates["SCx"].u < 0.06 * truth["SCx"]


def test_a_fit_again_is_the_same_to_the_last_digit(drawn: HostileDay, result: DayResult) -> None:
    assert result_to_json(fit_day(drawn.day)) == result_to_json(result)


def test_progress_rises_to_one(drawn: HostileDay) -> None:
    day = replace(drawn.day, runs=tuple(r for r in drawn.day.runs if r.setup == "A")[:2])
    heard: list[float] = []
    fit_day(day, progress=lambda fraction, text: heard.append(fraction) if text else None)
    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_budget_adds_up_to_u(result: DayResult) -> None:
    for setup in result.setups:
        total = np.sqrt(sum(line.contribution**2 for line in setup.budget))
        assert total == pytest.approx(setup.estimates["SCx"].u, rel=0.03)


def test_difference_is_sharper_than_two_separate_areas(result: DayResult) -> None:
    (comparison,) = result.comparisons
    delta = comparison.deltas["SCx_apparent"]
    apart = np.hypot(*(s.estimates["SCx_apparent"].u for s in result.setups))
    assert delta.u < apart
    assert delta.shared_u > 0.0
    assert delta.smallest_seen == pytest.approx(2.8016 * delta.u, rel=1e-4)  # 1.96 + 0.8416, normal quantiles


def test_each_pass_stands_beside_the_joint_estimate(result: DayResult) -> None:
    passes = {"A": 8, "B": 6}  # the baseline is run before and after, at least three pairs in all
    for setup in result.setups:
        assert len(setup.fits) == passes[setup.name]
        areas = np.array([f.scx for f in setup.fits])
        u = np.array([f.scx_u for f in setup.fits])
        mean = float(np.average(areas, weights=1.0 / u**2))
        assert mean == pytest.approx(setup.estimates["SCx"].value, rel=0.05)
        for fit in setup.fits:
            assert np.max(np.abs(fit.smoothed_mps - fit.speed_mps)) < 0.4
            assert 0.8 < fit.energy_closure < 1.25
            assert np.std(fit.innovations) == pytest.approx(1.0, abs=0.4)


def test_one_pass_is_no_area(drawn: HostileDay) -> None:
    run = drawn.day.runs[0]
    cut = replace(run, recordings=tuple(_until(r, 45.0) for r in run.recordings))
    result = fit_day(replace(drawn.day, runs=(cut,)))
    assert "no-area" in codes(result)
    assert "SCx" not in result.setups[0].estimates
    assert sum(p.used and p.kind == "coast-down" for p in result.setups[0].passes) < 2


def test_a_fit_without_an_end_is_a_finding(drawn: HostileDay, monkeypatch: pytest.MonkeyPatch) -> None:
    def lost(*_: object, **__: object) -> None:
        raise np.linalg.LinAlgError("information and score must be finite")

    monkeypatch.setattr(day_fit, "solve_day", lost)
    result = fit_day(drawn.day)
    assert all("SCx" not in setup.estimates for setup in result.setups)
    assert {"fit-lost", "no-area"} <= {one.code for one in result.findings if one.grade == "stop"}


def test_in_gear_is_no_area(drawn: HostileDay) -> None:
    runs = tuple(replace(run, coasting="in-gear") for run in drawn.day.runs)
    result = fit_day(replace(drawn.day, runs=runs))
    assert "no-area" in codes(result)
    reasons = [p.reason for s in result.setups for p in s.passes if p.kind == "coast-down"]
    assert reasons
    assert all("gear" in reason for reason in reasons)


def test_a_setup_without_a_pass_says_so_beside_one_that_has_an_area(drawn: HostileDay) -> None:
    runs = tuple(replace(run, coasting="in-gear") if run.setup == "B" else run for run in drawn.day.runs)
    result = fit_day(replace(drawn.day, runs=runs))
    assert "SCx" in result.setups[0].estimates
    assert result.setups[1].estimates == {}
    assert result.comparisons == ()
    (said,) = (f.text for f in result.findings if f.code == "no-area")
    assert said.startswith("Setup B: none of its coast-downs can be used")
    assert "gear" in said


def test_one_way_says_what_it_costs() -> None:
    both = fit_day(draw_day(5, Scenario(pairs=2, wind="calm")).day)
    one = fit_day(draw_day(5, Scenario(pairs=2, wind="calm", one_way=True)).day)
    assert "one-way" in codes(one)
    assert "one-way" not in codes(both)
    assert one.setups[0].estimates["SCx"].u > both.setups[0].estimates["SCx"].u


def test_assumed_downforce_is_said_and_gives_no_balance() -> None:
    result = fit_day(draw_day(8, Scenario(pairs=2, priors="none")).day)
    estimates = result.setups[0].estimates
    assert "downforce-assumed" in codes(result)
    assert estimates["SCz"].source == "default"
    assert "LD" not in estimates
    assert "balance_front" not in estimates


def test_wheel_speed_alone_is_said() -> None:
    assert "wheel-speed-only" in codes(fit_day(draw_day(8, Scenario(pairs=2, sensors="wheel")).day))


def test_a_dragging_brake_stands_out() -> None:
    """One pass with a quarter more resistance than the others: its coast runs through in less time."""
    day = draw_day(31, Scenario(pairs=4, wind="calm", sensors="satellite", position_channels=False)).day
    target = day.runs[1]
    found = next(p for p in fit_day(day).setups[0].passes if p.run == target.number and p.kind == "coast-down")
    dragged = replace(
        target, recordings=tuple(_dragged(r, found.start_s, found.end_s, 0.25) for r in target.recordings)
    )
    runs = tuple(dragged if r.number == target.number else r for r in day.runs)
    result = fit_day(replace(day, runs=runs))
    told = [f.run for f in result.findings if f.code == "pass-unlike-others"]
    assert told == [target.number]


@pytest.mark.parametrize(
    ("name", "a_lbf", "b_lbf_per_mph", "c_lbf_per_mph2", "weight_lb"),
    [
        # EPA test-car list target coefficients, quoted in the road-load notes: Golf GTI 2017, Model 3 2024
        ("hatchback", 34.463, 0.19533, 0.018508, 3500.0),
        ("saloon", 27.02, 0.2873, 0.0122, 4250.0),
    ],
)
def test_a_production_cars_coefficients_come_back(  # noqa: PLR0917 - the table's columns
    drawn: HostileDay, name: str, a_lbf: float, b_lbf_per_mph: float, c_lbf_per_mph2: float, weight_lb: float
) -> None:
    """Coast-downs made of F = A + B v + C v² in still air give the drag area 2 C/ρ back."""
    newton, mph = 4.4482216152605, 0.44704
    a, b, c = a_lbf * newton, b_lbf_per_mph * newton / mph, c_lbf_per_mph2 * newton / mph**2
    mass = weight_lb * 0.45359237
    day = _still_day(drawn.day, a, b, c, mass)
    result = fit_day(day)
    estimate = result.setups[0].estimates["SCx"]
    density = result.reference["density_kgm3"]
    assert estimate.low95 < 2.0 * c / density < estimate.high95, name
    assert estimate.value == pytest.approx(2.0 * c / density, rel=0.03)


def _still_day(day: Day, a: float, b: float, c: float, mass: float) -> Day:
    """Four coast-downs each way from 32 to 8 m/s, satellite speed at 10 Hz with 0.03 m/s of noise."""
    weightless = Quantity(1e-4, 1e-5)
    axle = replace(day.car.front, axle_inertia_kgm2=weightless)
    car = replace(
        day.car,
        mass_kg=Quantity(mass - 80.0, 0.5),
        rolling_c0=Quantity(a / (mass * 9.80665), 0.1 * a / (mass * 9.80665)),
        rolling_c1_s_per_m=Quantity(b / (mass * 9.80665), 0.03 * b / (mass * 9.80665)),
        driveline_drag_n=Quantity(0.0, 0.1),
        driveline_drag_n_per_mps=Quantity(0.0, 0.01),
        front=axle,
        rear=axle,
    )
    setup = replace(day.setups[0], scz_front_m2=Quantity(0.0, 0.01), scz_rear_m2=Quantity(0.0, 0.01), baseline=None)
    law = QuadraticLaw(mass, a, b, c)
    rng = np.random.default_rng(5)
    runs = []
    for i in range(8):
        time = np.arange(0.0, 75.0, 0.1)
        speed = np.where(time < 5.0, 22.0 + 2.0 * time, speed_after(np.maximum(time - 5.0, 0.0), 32.0, law))
        signals = {
            "gps_speed": Signal(time, speed + 0.03 * rng.standard_normal(len(time))),
            "throttle": Signal(time, np.where(time < 5.0, 0.8, 0.0)),
        }
        runs.append(
            replace(
                day.runs[0],
                number=i + 1,
                setup=setup.name,
                driver_mass_kg=Quantity(80.0, 0.1),
                direction="out" if i % 2 == 0 else "back",
                coasting="neutral",
                start_clock_s=36_000.0 + 200.0 * i,
                passes=(),
                recordings=(Recording(f"run{i}.csv", signals, 36_000.0 + 200.0 * i),),
            )
        )
    calm = tuple(replace(w, wind_speed_mps=Quantity(0.0, 0.1), wind_from_rad=Quantity(0.0, 0.1)) for w in day.weather)
    return replace(day, car=car, setups=(setup,), runs=tuple(runs), weather=calm, predictions=())


def _until(recording: Recording, end_s: float) -> Recording:
    cut = {
        role: Signal(s.time_s[s.time_s < end_s], s.values[s.time_s < end_s], s.name)
        for role, s in recording.signals.items()
    }
    return replace(recording, signals=cut)


def _dragged(recording: Recording, start_s: float, end_s: float, share: float) -> Recording:
    """The recording with the coast between two times run through faster, as if resistance were share higher."""
    warp_end = start_s + (end_s - start_s) / (1.0 + share)

    def warp(t: np.ndarray) -> np.ndarray:
        return np.interp(t, [0.0, start_s, end_s, 1e4], [0.0, start_s, warp_end, warp_end + 1e4 - end_s])

    moved = {role: Signal(warp(s.time_s), s.values, s.name) for role, s in recording.signals.items()}
    return replace(recording, signals=moved)
