"""The simulator against closed forms, conservation laws and the physics functions it does not use."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.aero.air import air_density
from server.aero.road_load import RoadLoadCar, Surroundings, resistance_forces
from server.aero.wind import wind_at_car
from server.analysis.day_fit import fit_day
from server.analysis.result import DayResult, Estimate, Pass, SetupResult
from server.analysis.simulate import plan_like, simulate_day
from server.analysis.simulate_lengths import trip_lengths
from server.analysis.simulate_motion import COAST
from server.analysis.simulate_plan import (
    InstrumentPlan,
    RunPlan,
    SetupPlan,
    SimulationPlan,
    TyrePlan,
    WindPlan,
    default_plan,
)
from server.analysis.simulate_truth import draw_day, ornstein_uhlenbeck
from server.testday.values import Quantity, Setup, WeatherReading
from tests.ratios import ratio, settled

ZERO = Quantity(0.0)
STILL = WindPlan(ZERO, ZERO, slow_sd_mps=0.0, gust_sd_mps=ZERO)
STEADY_TYRES = TyrePlan(pass_scatter_rel=0.0, warm_up_rel=0.0)


def still_plan(**changes) -> SimulationPlan:
    """The default day without wind, slope, scatter or drawn truth; one setup."""
    plan = default_plan(pairs=1, compare=False)
    runs = tuple(replace(run, aim_sd_mps=0.0) for run in plan.runs)
    basis = replace(plan, runs=runs, wind=STILL, tyres=STEADY_TYRES, grade=ZERO, draw=False)
    return replace(basis, **changes)


def coasts(simulated, run=1):
    """(direction, index array) of each coast-down of a run, from 1 s after the lift."""
    drive = simulated.truth.drives[run]
    found = []
    for leg in np.unique(drive.leg):
        index = np.flatnonzero((drive.leg == leg) & (drive.phase == COAST))
        if len(index) > 200:
            index = index[100:]
            found.append((1 if drive.position_m[index[-1]] > drive.position_m[index[0]] else -1, index))
    return found


def quadratic_plan(mass_kg: float, a_n: float, c_ns2_per_m2: float, high: float, low: float) -> SimulationPlan:
    """A car of resistance a + c v² with no rotating mass and no driveline drag."""
    weather = WeatherReading(None, Quantity(101_325.0), Quantity(293.15), Quantity(0.5))
    density = float(air_density(101_325.0, 293.15, 0.5))
    plan = still_plan(weather=(weather,))
    axle = replace(plan.car.front, axle_inertia_kgm2=Quantity(1e-9))
    car = replace(
        plan.car,
        mass_kg=Quantity(mass_kg - 80.0),
        rolling_c0=Quantity(a_n / (mass_kg * plan.gravity_mps2)),
        rolling_c1_s_per_m=ZERO,
        driveline_drag_n=ZERO,
        driveline_drag_n_per_mps=ZERO,
        front=axle,
        rear=axle,
    )
    setup = SetupPlan(Setup("A"), Quantity(2.0 * c_ns2_per_m2 / density), ZERO, ZERO)
    run = replace(plan.runs[0], driver_mass_kg=Quantity(80.0), high_mps=high, low_mps=low, directions=("out",))
    venue = replace(plan.venue, length_m=4000.0)
    driver = replace(plan.driver, marks_m=(100.0, 3000.0))
    return replace(plan, car=car, setups=(setup,), runs=(run,), venue=venue, driver=driver)


def test_coast_down_follows_closed_form_of_constant_plus_quadratic_resistance():
    # v(t) = w tan(atan(v0/w) − sqrt(a c) t/m), w = sqrt(a/c): the text-book coast-to-rest, D. C. Wilcox,
    # Basic Fluid Mechanics, problem 3.26 (resistance μ m g + c v²)
    m, a, c = 308.0, 60.0, 0.87
    simulated = simulate_day(quadratic_plan(m, a, c, 28.0, 6.0), seed=1)
    drive = simulated.truth.drives[1]
    ((_, index),) = coasts(simulated)
    t = drive.time_s[index] - drive.time_s[index[0]]
    w = math.sqrt(a / c)
    expected = w * np.tan(np.arctan(drive.speed_mps[index[0]] / w) - math.sqrt(a * c) * t / m)
    assert t[-1] > 15.0
    np.testing.assert_allclose(drive.speed_mps[index], expected, atol=5e-5)


@pytest.mark.parametrize(
    ("mass_kg", "a_n", "c_per_kmh2", "seconds"),
    [
        (100.0, 0.0, 0.0224, 2.95),
        (200.0, 8.69, 0.0252, 4.85),
        (250.0, 13.06, 0.0266, 5.57),
        (300.0, 17.43, 0.0279, 6.18),
    ],
)
def test_seventy_to_sixty_takes_the_published_time(mass_kg, a_n, c_per_kmh2, seconds):
    # 40 CFR 86.529-98, figure F98-9: equivalent mass, A, C and the 70→60 km/h time. Its own integral
    # reproduces the printed times within 0.011 s.
    plan = quadratic_plan(mass_kg, max(a_n, 1e-6), c_per_kmh2 * 3.6**2, 23.0, 14.0)
    drive = simulate_day(plan, seed=1).truth.drives[1]
    on = drive.phase == COAST
    speed, clock = drive.speed_mps[on][100:], drive.time_s[on][100:]
    passed = np.interp([-70.0 / 3.6, -60.0 / 3.6], -speed, clock)
    assert passed[1] - passed[0] == pytest.approx(seconds, abs=0.012)


def test_energy_lost_is_the_work_of_the_resistance():
    # with gusts, slope, warm-up and yaw all on; forces by server.aero.road_load, not the simulator's own
    plan = default_plan(pairs=2, gust_sd_mps=1.2)
    simulated = simulate_day(plan, seed=5)
    car, truth = simulated.truth.car, simulated.truth.day
    for run in plan.runs:
        drive, areas = simulated.truth.drives[run.number], truth.areas[run.setup]
        m_e = drive.mass_kg + car.rotating_mass_kg
        for _, i in coasts(simulated, run.number):
            forces = resistance_forces(
                drive.speed_mps[i],
                RoadLoadCar(
                    drive.mass_kg,
                    m_e,
                    areas.scx_m2,
                    drive.rolling_c0[i],
                    areas.scz_front_m2 + areas.scz_rear_m2,
                    car.rolling_c1_s_per_m,
                    car.driveline_drag_n,
                    car.driveline_drag_n_per_mps,
                    truth.yaw_sensitivity_per_rad2,
                ),
                Surroundings(
                    drive.density_kgm3,
                    drive.head_mps[i],
                    drive.side_mps[i],
                    drive.grade[i],
                    plan.gravity_mps2,
                ),
            ).total_n
            power = forces * drive.speed_mps[i]
            work = np.sum(0.5 * (power[1:] + power[:-1]) * np.diff(drive.time_s[i]))
            lost = 0.5 * m_e * (drive.speed_mps[i[0]] ** 2 - drive.speed_mps[i[-1]] ** 2)
            assert work == pytest.approx(lost, rel=2e-4)


def test_place_is_the_integral_of_speed():
    simulated = simulate_day(default_plan(pairs=1), seed=2)
    drive = simulated.truth.drives[1]
    for direction, i in coasts(simulated):
        way = np.sum(0.5 * (drive.speed_mps[i][1:] + drive.speed_mps[i][:-1]) * 0.01)
        assert drive.position_m[i[-1]] - drive.position_m[i[0]] == pytest.approx(direction * way, rel=1e-9)


@pytest.mark.parametrize(
    ("change", "hindered"),
    [
        ({"wind": replace(STILL, head_out_mps=Quantity(2.0))}, 1),
        ({"wind": replace(STILL, head_out_mps=Quantity(-2.0))}, -1),
        ({"grade": Quantity(0.004)}, 1),
        ({"grade": Quantity(-0.004)}, -1),
    ],
)
def test_head_wind_and_uphill_shorten_the_way_they_oppose(change, hindered):
    lengths = {d: len(i) for d, i in coasts(simulate_day(still_plan(**change), seed=1))}
    still = {d: len(i) for d, i in coasts(simulate_day(still_plan(), seed=1))}
    assert still[1] == pytest.approx(still[-1], abs=2)
    assert lengths[hindered] < still[1] - 50
    assert lengths[-hindered] > still[1] + 50


def test_cross_wind_slows_both_ways_alike():
    still = {d: len(i) for d, i in coasts(simulate_day(still_plan(), seed=1))}
    for cross in (3.0, -3.0):
        windy = still_plan(wind=replace(STILL, cross_mps=Quantity(cross)))
        lengths = {d: len(i) for d, i in coasts(simulate_day(windy, seed=1))}
        assert lengths[1] == pytest.approx(lengths[-1], abs=2)
        assert lengths[1] < still[1] - 20


def test_wind_reading_and_wind_at_the_car_agree():
    # the reading's bearing through server.aero.wind (40 CFR 1037.528) gives the head wind that was simulated
    wind = replace(STILL, head_out_mps=Quantity(1.7), cross_mps=Quantity(-0.8))
    plan = still_plan(wind=wind, anemometer_u_mps=1e-6)
    simulated = simulate_day(plan, seed=1)
    reading = simulated.day.weather[0]
    heading = plan.venue.heading_rad
    at_car = wind_at_car(reading.wind_speed_mps.value, reading.wind_from_rad.value, heading)
    assert float(at_car.head_mps) == pytest.approx(1.7, abs=1e-4)
    assert float(at_car.cross_mps) == pytest.approx(-0.8, abs=1e-4)
    drive = simulated.truth.drives[1]
    for direction, i in coasts(simulated):
        np.testing.assert_allclose(drive.head_mps[i], direction * 1.7, atol=1e-9)
        np.testing.assert_allclose(drive.side_mps[i], direction * -0.8, atol=1e-9)
    assert simulated.truth.setups["A"]["head_wind_out"] == pytest.approx(1.7)


def test_heading_and_position_point_along_the_straight():
    plan = still_plan()
    simulated = simulate_day(plan, seed=3)
    signals = simulated.day.runs[0].recordings[0].signals
    drive = simulated.truth.drives[1]
    heading = plan.venue.heading_rad
    for direction, i in coasts(simulated):
        start, end = drive.time_s[i[0]], drive.time_s[i[-1]]
        place = {}
        for role in ("latitude", "longitude"):
            place[role] = np.interp([start, end], signals[role].time_s, signals[role].values)
        north = np.diff(place["latitude"])[0] * 6_371_008.8
        east = np.diff(place["longitude"])[0] * 6_371_008.8 * math.cos(place["latitude"][0])
        bearing = math.atan2(east, north) + (0.0 if direction > 0 else math.pi)
        assert math.cos(bearing - heading) > 0.9995
        pointing = np.interp(0.5 * (start + end), signals["heading"].time_s, signals["heading"].values)
        assert math.cos(pointing - heading) * direction > 0.99


def test_ornstein_uhlenbeck_has_its_spread_and_correlation():
    series = ornstein_uhlenbeck(400_000, 0.1, 0.7, 3.0, np.random.default_rng(1))
    # n_eff = T/2τ = 6667: 1 % of the spread is 1.2 standard errors of it
    assert np.std(series) == pytest.approx(0.7, rel=0.03)
    for lag in (10, 30, 90):
        rho = np.mean(series[lag:] * series[:-lag]) / np.var(series)
        assert rho == pytest.approx(math.exp(-lag * 0.1 / 3.0), abs=0.04)


def test_gust_at_the_car_has_its_spread_and_time():
    gusty = replace(STILL, gust_sd_mps=Quantity(0.8), gust_time_s=Quantity(1.5))
    runs = (RunPlan(1, "A", 36_000.0, Quantity(72.0), ("out", "back") * 16),)
    drive = simulate_day(still_plan(wind=gusty, runs=runs), seed=4).truth.drives[1]
    gust = drive.head_out_mps
    assert len(gust) * 0.01 / 3.0 > 400  # independent gusts
    assert np.std(gust) == pytest.approx(0.8, rel=0.1)
    rho = np.mean(gust[150:] * gust[:-150]) / np.var(gust)
    assert rho == pytest.approx(math.exp(-1.0), abs=0.1)
    side = drive.cross_mps
    assert np.std(side) == pytest.approx(0.8 * 0.8, rel=0.1)


def test_moving_car_meets_gusts_faster_with_a_length_scale():
    gusty = replace(STILL, gust_sd_mps=Quantity(0.8), gust_time_s=Quantity(60.0), gust_length_m=40.0)
    runs = (RunPlan(1, "A", 36_000.0, Quantity(72.0), ("out", "back") * 16),)
    drive = simulate_day(still_plan(wind=gusty, runs=runs), seed=4).truth.drives[1]
    step = np.diff(drive.head_out_mps)
    fast, slow = drive.speed_mps[:-1] > 20.0, drive.speed_mps[:-1] == 0.0
    # variance of a step is 2σ² step × rate: rate = 1/60 + U/40
    mean_air = np.mean(drive.air_speed_mps[:-1][fast])
    ratio = (1.0 / 60.0 + mean_air / 40.0) / (1.0 / 60.0 + np.mean(drive.air_speed_mps[:-1][slow]) / 40.0)
    assert np.var(step[fast]) / np.var(step[slow]) == pytest.approx(ratio, rel=0.1)


def test_wheel_speed_has_scale_growth_and_teeth():
    instruments = InstrumentPlan(wheel_growth_rel=Quantity(0.006), wheel_scale=Quantity(1.0))
    simulated = simulate_day(still_plan(instruments=instruments), seed=7)
    signal = simulated.day.runs[0].recordings[0].signals["wheel_speed_fl"]
    drive = simulated.truth.drives[1]
    (_, i), _ = coasts(simulated)
    inside = (signal.time_s > drive.time_s[i[0]]) & (signal.time_s < drive.time_s[i[-1]])
    # a sample stands for the mean over the teeth since the one before: about 5 ms and half a tooth late
    true = np.interp(signal.time_s[inside] - 0.0055, drive.time_s, drive.speed_mps)
    ratio = signal.values[inside] / true
    expected = 1.0 / (1.0 + 0.006 * (true / 30.0) ** 2)
    assert np.mean(ratio / expected) == pytest.approx(1.0, abs=2e-4)
    assert 1e-4 < np.std(ratio / expected) < 0.01
    standing = signal.values[(signal.time_s > 1.0) & (signal.time_s < 5.0)]
    assert np.all(standing == 0.0)


def test_wheel_speed_is_late_by_its_delay():
    on_time, behind = (
        simulate_day(still_plan(instruments=InstrumentPlan(wheel_delay_s=Quantity(delay))), seed=7)
        .day.runs[0]
        .recordings[0]
        .signals["wheel_speed_fl"]
        for delay in (0.0, 0.1)
    )
    fast = on_time.values > 5.0
    then = np.interp(on_time.time_s[fast] + 0.1, behind.time_s, behind.values)
    assert np.mean(then - on_time.values[fast]) == pytest.approx(0.0, abs=2e-3)
    np.testing.assert_allclose(then, on_time.values[fast], atol=0.2)


def test_satellite_speed_is_late_by_its_delay():
    instruments = InstrumentPlan(satellite_noise_mps=0.0, satellite_colour_mps=0.0, satellite_delay_s=Quantity(0.2))
    simulated = simulate_day(still_plan(instruments=instruments), seed=7)
    signal = simulated.day.runs[0].recordings[0].signals["gps_speed"]
    drive = simulated.truth.drives[1]
    expected = np.interp(signal.time_s - 0.2, drive.time_s, drive.speed_mps)
    np.testing.assert_allclose(signal.values, expected, atol=1e-9)


def test_trip_lengths_are_what_the_simulator_drives():
    plan = still_plan()
    lengths = trip_lengths(plan, plan.runs[0])
    drive = simulate_day(plan, seed=1).truth.drives[1]
    first = np.flatnonzero((drive.leg == 0) & (drive.phase == COAST))
    assert lengths.coast_m == pytest.approx(np.ptp(drive.position_m[first]), rel=0.02)
    assert lengths.coast_s == pytest.approx(0.01 * len(first), rel=0.02)
    start = drive.position_m[first[0]] - drive.position_m[0]
    assert lengths.accelerate_m == pytest.approx(start, rel=0.05)
    assert lengths.total_m < plan.venue.length_m


def test_short_straight_cuts_the_coast_down_and_the_car_stops_on_it():
    plan = still_plan()
    venue, driver = replace(plan.venue, length_m=320.0), replace(plan.driver, marks_m=(40.0, 280.0))
    simulated = simulate_day(replace(plan, venue=venue, driver=driver), seed=1)
    drive = simulated.truth.drives[1]
    assert np.max(drive.position_m) < 320.0
    assert np.min(drive.position_m) > 0.0
    _, i = coasts(simulated)[0]
    assert drive.speed_mps[i[-1]] > 12.0


def test_one_way_runs_drive_back_slowly():
    plan = still_plan()
    runs = (replace(plan.runs[0], directions=("out", "out")),)
    simulated = simulate_day(replace(plan, runs=runs), seed=1)
    drive = simulated.truth.drives[1]
    assert [d for d, _ in coasts(simulated)] == [1, 1]
    assert np.max(drive.speed_mps[drive.leg == 1]) < 10.0


def test_truth_is_spread_as_stated():
    plan = default_plan()
    drawn = [draw_day(plan, np.random.default_rng(seed)) for seed in range(400)]
    car = plan.car
    for stated, values in (
        (car.mass_kg, [d.car.mass_kg for d in drawn]),
        (car.rolling_c0, [d.car.rolling_c0 for d in drawn]),
        (car.cg_height_m, [d.car.cg_height_m for d in drawn]),
        (car.anti_squat, [d.car.anti_squat for d in drawn]),
        (car.rear.tyre_rate_n_per_m, [d.car.tyre_rate_n_per_m[1] for d in drawn]),
        (Quantity(0.0, 0.01), [d.car.rate_error[0] for d in drawn]),
        (car.front.axle_inertia_kgm2, [d.car.axle_inertia_kgm2[0] for d in drawn]),
        (plan.setups[0].scz_front_m2, [d.areas["A"].scz_front_m2 for d in drawn]),
        (plan.grade, [d.grade for d in drawn]),
    ):
        z = (np.array(values) - stated.value) / stated.u
        assert abs(np.mean(z)) < 4.0 / math.sqrt(400)
        assert np.std(z) == pytest.approx(1.0, abs=4.0 / math.sqrt(2 * 400))


def test_same_seed_same_day_other_seed_other_day():
    plan = default_plan(pairs=1)
    first, again, other = (simulate_day(plan, seed) for seed in (11, 11, 12))

    def speeds(simulated):
        return simulated.day.runs[0].recordings[0].signals["wheel_speed_fl"].values

    np.testing.assert_array_equal(speeds(first), speeds(again))
    assert first.truth.setups == again.truth.setups
    assert first.truth.setups != other.truth.setups


def test_a_day_is_made_in_a_small_part_of_the_time_that_it_takes_to_fit_it():
    plan = default_plan(pairs=4, compare=False)
    day = simulate_day(plan, 0).day
    fit_day(day)
    most = 0.2
    assert settled(lambda: ratio(lambda: simulate_day(plan, 1), lambda: fit_day(day), rounds=2), most) <= most


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"setups": ()}, "setups"),
        ({"runs": ()}, "runs"),
        ({"weather": ()}, "weather"),
        ({"runs": (RunPlan(3, "Z", 0.0, Quantity(70.0)),)}, "run 3 names setup 'Z'"),
        ({"runs": (RunPlan(3, "A", 0.0, Quantity(70.0), high_mps=5.0),)}, "run 3 needs high_mps"),
        (
            {"runs": (RunPlan(3, "A", 0.0, Quantity(70.0), speeds_mps=((20.0, 5.0),)),)},
            "run 3 needs one direction",
        ),
    ],
)
def test_a_plan_that_cannot_be_is_refused_by_name(change, named):
    with pytest.raises(ValueError, match=named):
        still_plan(**change)


def _pass(run: int, setup: str, direction: int, drive, i) -> Pass:
    start, end = drive.time_s[i[0]], drive.time_s[i[-1]]
    low, high = drive.speed_mps[i[-1]], drive.speed_mps[i[0]]
    return Pass(run, setup, "coast-down", direction, start, end, True, low_mps=low, high_mps=high)


def fitted_like(simulated) -> DayResult:
    """A result as a fit would give it, with the passes that were driven."""
    setups = []
    for name, true in simulated.truth.setups.items():
        passes = []
        for run in simulated.day.runs:
            if run.setup != name:
                continue
            drive = simulated.truth.drives[run.number]
            for direction, i in coasts(simulated, run.number):
                passes.append(_pass(run.number, name, direction, drive, i))
        scx = Estimate(true["SCx"], 0.02, true["SCx"] - 0.04, true["SCx"] + 0.04, "m²", "measured")
        wind = Estimate(1.2, 0.2, 0.8, 1.6, "m/s", "measured")
        setups.append(SetupResult(name, {"SCx": scx, "head_wind_out": wind}, tuple(passes)))
    noise = {
        "gust_power": Estimate(1.8, 0.5, 1.0, 3.0, "m²/s", "measured"),
        "gust_time": Estimate(5.0, 1.0, 3.0, 8.0, "s", "measured"),
    }
    return DayResult("day", {}, tuple(setups), (), (), noise)


def test_plan_like_a_day_repeats_its_order_speeds_and_instruments():
    simulated = simulate_day(default_plan(pairs=2), seed=21)
    result = fitted_like(simulated)
    plan = plan_like(simulated.day, result)
    assert [run.setup for run in plan.runs] == [run.setup for run in simulated.day.runs]
    assert all(run.directions == ("out", "back") * (len(run.speeds()) // 2) for run in plan.runs)
    assert plan.setups[0].scx_m2.value == simulated.truth.setups["A"]["SCx"]
    assert plan.setups[0].scz_front_m2 == simulated.day.setups[0].scz_front_m2
    assert plan.car == simulated.day.car
    assert plan.wind.head_out_mps.value == pytest.approx(1.2)
    assert plan.wind.gust_sd_mps.value == pytest.approx(0.6)
    assert (plan.instruments.wheel_rate_hz, plan.instruments.satellite_rate_hz) == (100.0, 10.0)
    again = simulate_day(plan, seed=1)
    found = [d for run in plan.runs for d, _ in coasts(again, run.number)]
    assert found == [1, -1] * (len(found) // 2)
    assert len(found) == sum(len(run.directions) for run in plan.runs)
    like, day = again.truth.drives[1], simulated.truth.drives[1]
    # a pass begins a second after the lift, some 1.5 m/s slower, and the driver misses his aim by 0.4 m/s
    assert np.max(like.speed_mps) == pytest.approx(np.max(day.speed_mps), abs=2.5)


def test_plan_like_a_day_without_an_area_says_so():
    simulated = simulate_day(default_plan(pairs=1), seed=21)
    result = fitted_like(simulated)
    nothing = replace(result, setups=tuple(replace(s, estimates={}) for s in result.setups))
    with pytest.raises(ValueError, match="no setup has a drag area"):
        plan_like(simulated.day, nothing)
    unused = replace(
        result,
        setups=tuple(replace(s, passes=tuple(replace(p, used=False) for p in s.passes)) for s in result.setups),
    )
    with pytest.raises(ValueError, match="no coast-down was used"):
        plan_like(simulated.day, unused)
