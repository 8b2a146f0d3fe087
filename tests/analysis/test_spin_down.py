"""Spin-downs of driven wheels: the friction comes back, with intervals that hold, whatever hands do to the wheels."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from server.analysis.spin_down import _generalised, _summed_wander, _turned, driveline_drag
from server.analysis.spin_down_stretch import Stretch, free_stretch
from server.testday.values import LogFile, Quantity, Recording, Signal, SpinDown
from tests.analysis.stand_days import AXLE, CAR, run_down, spin_down

T0, T1 = 6.0, 0.35
WHEELS = ("wheel_speed_rl", "wheel_speed_rr")
SURE = replace(CAR, rear=replace(AXLE, axle_inertia_kgm2=Quantity(0.42, 1e-6), tyre_radius_m=Quantity(0.23, 1e-8)))


def found(*tests: SpinDown, car=SURE):
    drag, findings = driveline_drag(tests, car)
    assert drag is not None, findings
    return drag, findings


def near(drag, t0: float = T0, t1: float = T1, within: float = 0.05) -> bool:
    return drag.t0_n.value == pytest.approx(t0, rel=within) and drag.t1_n_per_mps.value == pytest.approx(t1, rel=within)


def test_the_wheels_follow_the_solution_of_their_equation() -> None:
    """v(t) = (v0 + T0/T1) exp(−T1 t r²/J) − T0/T1, the solution of J/r² dv/dt = −(T0 + T1 v)."""
    time, speed = run_down(T0, T1)
    mass = 0.42 / 0.23**2
    closed = (25.0 + T0 / T1) * np.exp(-T1 * time / mass) - T0 / T1
    np.testing.assert_allclose(speed, np.maximum(closed, 0.0), atol=2e-3)
    drag, findings = found(spin_down(time, closed * (closed > 0)))
    assert drag.t0_n.value == pytest.approx(T0, rel=2e-3)
    assert drag.t1_n_per_mps.value == pytest.approx(T1, rel=3e-3)
    assert findings == []
    assert drag.t0_n.source == "measured"
    assert 20.0 < drag.high_mps < 25.0
    assert 1.5 < drag.low_mps < 3.5


def test_constant_friction_alone_has_no_linear_part() -> None:
    drag, _ = found(spin_down(*run_down(4.0, 0.0)))
    assert drag.t0_n.value == pytest.approx(4.0, rel=2e-3)
    assert drag.t1_n_per_mps.value == pytest.approx(0.0, abs=2e-3)


def test_generalised_least_squares_against_statsmodels() -> None:
    """The regression under correlated errors against statsmodels' GLS (its linear part is NIST-certified there)."""
    linear_model = pytest.importorskip("statsmodels.regression.linear_model", reason="statsmodels is not installed")
    time = np.linspace(0.0, 12.0, 60)
    speed = 24.0 - 1.5 * time + 0.02 * time**2 + 0.05 * np.random.default_rng(3).standard_normal(60)
    distance = np.concatenate([[0.0], np.cumsum(0.5 * (speed[1:] + speed[:-1]) * np.diff(time))])
    walk, wander = 30.0, 1.5
    fit = _generalised(*_turned(Stretch(time, speed, distance, 0.0, 12.0), wander), walk)
    design = np.stack([np.ones(60), -time, -distance], axis=-1)
    sigma = np.eye(60) + walk * _summed_wander(time, wander)
    reference = linear_model.GLS(speed, design, sigma=sigma).fit()
    np.testing.assert_allclose(fit.value, reference.params[1:], rtol=1e-8)
    ours = fit.cofactor * fit.squares / fit.dof
    np.testing.assert_allclose(ours, reference.cov_params()[1:, 1:], rtol=1e-8)


def test_a_wandering_force_adds_up_as_its_formula_says() -> None:
    """Var ∫ F dt of an Ornstein-Uhlenbeck force, by summing its autocovariance e^{−|u|/τ} over both times."""
    tau, times = 1.5, np.array([1.0, 4.0])
    grid = (np.arange(2000) + 0.5) * times[-1] / 2000
    kernel = np.exp(-np.abs(grid[:, None] - grid[None, :]) / tau)
    step = times[-1] / 2000
    summed = [[kernel[np.ix_(grid < a, grid < b)].sum() * step**2 for b in times] for a in times]
    np.testing.assert_allclose(_summed_wander(times, tau), np.array(summed) / summed[1][1], rtol=1e-3)


def test_inertia_and_radius_reach_both_parts_together() -> None:
    test = spin_down(*run_down(T0, T1))
    three = [test] * 3
    axle = replace(AXLE, axle_inertia_kgm2=Quantity(0.42, 0.063), tyre_radius_m=Quantity(0.23, 1e-8))
    drag, _ = found(*three, car=replace(CAR, rear=axle))
    by_inertia = drag.t0_n.u / drag.t0_n.value, drag.t1_n_per_mps.u / drag.t1_n_per_mps.value
    assert by_inertia == pytest.approx((0.15, 0.15), abs=0.01)
    correlation = drag.covariance[0, 1] / np.sqrt(drag.covariance[0, 0] * drag.covariance[1, 1])
    assert correlation > 0.7
    double = replace(axle, axle_inertia_kgm2=Quantity(0.84, 0.126))
    assert near(found(test, car=replace(CAR, rear=double))[0], 2 * T0, 2 * T1)


def test_more_spin_downs_know_more_and_scatter_says_so() -> None:
    one = found(spin_down(*run_down(T0, T1)))[0]
    alike = found(*[spin_down(*run_down(T0, T1))] * 4)[0]
    apart = found(*[spin_down(*run_down(T0 * f, T1 * f)) for f in (0.75, 0.9, 1.1, 1.25)])[0]
    assert alike.used == 4
    assert alike.t0_n.u < 0.5 * one.t0_n.u
    assert apart.t0_n.u > 3.0 * alike.t0_n.u
    assert apart.t0_n.low95 < T0 < apart.t0_n.high95


@pytest.mark.parametrize("held_s", [0.0, 6.0])
def test_a_bumpy_start_costs_nothing(held_s: float) -> None:
    """Run up, held with a wobble and a jerk, let go, then a spike in the log."""
    rng = np.random.default_rng(5)
    up = np.linspace(0.0, 26.0, 800)
    held = 25.0 + 0.2 * np.sin(np.arange(round(held_s * 100)) / 15.0) - 1.5 * (np.arange(round(held_s * 100)) == 300)
    speed = np.concatenate([up, held, run_down(T0, T1)[1]])
    time = np.arange(len(speed)) / 100.0
    noisy = speed + 0.03 * rng.standard_normal(len(speed))
    noisy[len(up) + len(held) + 500] = 90.0
    drag, _ = found(spin_down(time, noisy, step_mps=0.05))
    assert near(drag)


@pytest.mark.parametrize(("at_s", "harder"), [(10.0, 4.0), (7.0, 2.5), (2.5, 6.0)])
def test_a_brake_touch_is_cut_away_and_said(at_s: float, harder: float) -> None:
    time = np.arange(4000) / 100.0
    force = np.where((time > at_s) & (time < at_s + 1.2), (harder - 1.0) * T0, 0.0)
    drag, findings = found(spin_down(*run_down(T0, T1, force_noise=force, length_s=40.0), step_mps=0.02))
    assert near(drag)
    (said,) = findings
    assert (said.code, said.grade) == ("spin-down-cut", "note")
    assert said.text.startswith("Spin-down 1 (stand.csv): only ")
    assert "because a touch or a drive disturbs the rest." in said.text


def test_a_second_start_is_said_and_the_deeper_fall_used() -> None:
    first, second = run_down(T0, T1, start_mps=18.0, length_s=20.0)[1], run_down(T0, T1)[1]
    speed = np.concatenate([first, np.linspace(0.0, 25.0, 600), second])
    drag, findings = found(spin_down(np.arange(len(speed)) / 100.0, speed))
    assert near(drag)
    assert drag.high_mps > 20.0
    assert "a second start disturbs the rest" in findings[0].text


def test_the_end_comes_when_the_first_wheel_stops() -> None:
    time, speed = run_down(T0, T1)
    slow = np.maximum(speed - 0.35 * time, 0.0)  # one wheel rubs: the mean is right until it stops
    fast = speed + 0.35 * time
    both = Recording("s.csv", {WHEELS[0]: Signal(time, slow), WHEELS[1]: Signal(time, fast)})
    stretch = free_stretch(both, WHEELS)
    assert isinstance(stretch, Stretch)
    stop = time[np.flatnonzero(slow < 1.5)[0]]
    assert stretch.end_s < stop


def test_one_wheel_alone_stands_for_its_axle() -> None:
    time, speed = run_down(T0, T1)
    alone = SpinDown(LogFile("s.csv"), recording=Recording("s.csv", {WHEELS[1]: Signal(time, speed)}))
    assert near(found(alone)[0])


def test_both_axles_of_a_car_that_drives_all_wheels_add_up() -> None:
    time, rear = run_down(T0, T1)
    front = run_down(3.0, 0.2)[1]
    signals = {f"wheel_speed_{c}": Signal(time, front if c[0] == "f" else rear) for c in ("fl", "fr", "rl", "rr")}
    car = replace(SURE, driven="all", front=SURE.rear)
    both = SpinDown(LogFile("s.csv"), recording=Recording("s.csv", signals))
    assert near(found(both, car=car)[0], T0 + 3.0, T1 + 0.2)
    drag, findings = driveline_drag([spin_down(time, rear)], car)
    assert drag is None
    assert [f.code for f in findings] == ["stand-test-unused"]
    assert "nothing of the front axle" in findings[0].text


@pytest.mark.parametrize(
    ("speed", "said"),
    [
        (np.full(4000, 20.0), "is not used: the wheels"),
        (np.zeros(4000), "is not used: the wheels"),
        (np.linspace(20.0, 18.0, 4000), "is not used: the wheels run down freely over 1."),
        (np.linspace(20.0, 18.0, 6), "is not used: no driven wheel's speed is in the log"),
        (np.full(4000, np.nan), "is not used: no driven wheel's speed is in the log"),
    ],
)
def test_a_log_without_a_spin_down_is_said(speed, said: str) -> None:
    drag, findings = driveline_drag([spin_down(np.arange(len(speed)) / 100.0, speed)], CAR)
    assert drag is None
    assert [(f.code, f.grade) for f in findings] == [("stand-test-unused", "check")]
    assert findings[0].text.startswith("Spin-down 1 (stand.csv) ")
    assert said in findings[0].text


def test_without_recordings_nothing_is_said_twice() -> None:
    assert driveline_drag([SpinDown(LogFile("s.csv"))], CAR) == (None, [])


def wander(rng: np.random.Generator, n: int, step_s: float, time_s: float, sd: float):
    decay = np.exp(-step_s / time_s)
    kicks = rng.standard_normal(n) * sd * np.sqrt(1.0 - decay**2)
    force = np.empty(n)
    x = sd * rng.standard_normal()
    for i in range(n):
        x = decay * x + kicks[i]
        force[i] = x
    return force


def hostile_stand(rng: np.random.Generator):
    """One to four spin-downs of a car whose J and r are off as stated, in friction that scatters and wanders."""
    t0, t1 = rng.uniform(3.0, 10.0), rng.uniform(0.1, 0.5)
    j_u, scatter, torque = rng.choice([0.001, 0.1]), rng.uniform(0.01, 0.1), rng.uniform(0.0, 0.1)
    inertia = 0.42 * (1.0 + j_u * rng.standard_normal())
    radius = 0.23 * (1.0 + 0.004 * rng.standard_normal())
    axle = replace(AXLE, axle_inertia_kgm2=Quantity(0.42, 0.42 * j_u), tyre_radius_m=Quantity(0.23, 0.23 * 0.004))
    step = float(rng.choice([0.02, 0.05, 0.1]))
    tests = []
    for _ in range(int(rng.integers(1, 5))):
        oil = rng.standard_normal()
        own = [1.0 + scatter * np.sqrt(0.5) * (oil + rng.standard_normal()) for _ in range(2)]
        time, speed = run_down(
            t0 * own[0],
            t1 * own[1],
            inertia_kgm2=inertia,
            radius_m=radius,
            start_mps=rng.uniform(15.0, 28.0),
            force_noise=wander(rng, 1000, 0.04, rng.uniform(0.5, 4.0), torque * t0),
            rate_hz=25.0,
            length_s=40.0,
        )
        tests.append(spin_down(time, speed * 0.23 / radius, step_mps=step))
    return tests, replace(CAR, rear=axle), t0, t1


def test_95_percent_intervals_hold() -> None:
    """320 stands of 1 to 4 spin-downs, quantised, in friction that scatters from one to the next and wanders within.

    Both parts' intervals hold the truth in 92 to 98 % of them.
    """
    stands = 320
    held, errors = [], []
    for number in range(stands):
        tests, car, t0, t1 = hostile_stand(np.random.default_rng(50_000 + number))
        drag, _ = found(*tests, car=car)
        pair = (drag.t0_n, t0), (drag.t1_n_per_mps, t1)
        held.append([got.low95 <= truth <= got.high95 for got, truth in pair])
        errors.append([(got.value - truth) / got.u for got, truth in pair])
    share = np.mean(held, axis=0)
    assert binom.cdf(0.92 * stands, stands, 0.95) < 0.02  # so many stands do tell 92 % from 95 %
    assert np.all((share >= 0.92) & (share <= 0.98)), share
    rms = np.sqrt(np.mean(np.square(errors), axis=0))
    assert np.all((rms > 0.75) & (rms < 1.15)), rms
