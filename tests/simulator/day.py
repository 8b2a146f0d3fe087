"""Put together a day whose truth is known: drawn car, road, air, wind and sensors, driven run by run.

Signs and frames, for whoever reads such a day:
run clock 0 is the first sample; start_clock_s its local time; 'out' is the venue's heading; grade is positive
uphill going out; head_wind_out is positive against a car going out; wind_from is the true direction that the
wind comes from; angles in rad.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from server.testday.values import Day, LogFile, Quantity, Run, Venue, WeatherReading
from tests.simulator.air import draw_air
from tests.simulator.car import draw_car, draw_setups, stated_car, stated_setup
from tests.simulator.car_loads import with_load_properties
from tests.simulator.drive import DayDraw, TrueRun, drive_run
from tests.simulator.faults import ratio_inverted
from tests.simulator.logger import Instruments, draw_instruments, record, with_load_instruments
from tests.simulator.pitot import draw_pitot_law, with_air_speed, with_pitot
from tests.simulator.road import Road, draw_road
from tests.simulator.scenario import Scenario
from tests.simulator.schedule import plan_day
from tests.simulator.stated import Drawer, Known
from tests.simulator.truth import day_truth
from tests.simulator.tyres import draw_tyre_law
from tests.simulator.wind import draw_gust_law, draw_slow_wind

STREAMS = (
    "car", "setups", "road", "air", "wind", "tyres", "plan", "drive", "sensors", "weather", "driver",
    "loads", "steady", "load sensors", "standing", "pitot",
)  # fmt: skip
WEATHER_EVERY_S = 1800.0
PRESSURE_U_PA, TEMPERATURE_U_K, HUMIDITY_U = 100.0, 0.5, 0.05
STATION_BIAS_MPS, STATION_NOISE_MPS = 0.3, 0.4


@dataclass(frozen=True, slots=True, eq=False)
class HostileDay:
    """A day as the product gets it, what is true of it (see `truth.day_truth`), and the true motion."""

    day: Day
    truth: dict[str, Any]
    scenario: Scenario
    runs: tuple[TrueRun, ...] = field(default=(), repr=False)


def draw_day(seed: int, scenario: Scenario) -> HostileDay:
    """Draw the day of a seed. The same seed and scenario give the same day, bit for bit."""
    seeds = np.random.SeedSequence(seed).spawn(len(STREAMS))
    rng = {name: np.random.default_rng(s) for name, s in zip(STREAMS, seeds, strict=True)}
    plan = plan_day(rng["plan"], scenario, rng["steady"])
    begin, end = plan[0].start_clock_s, plan[-1].start_clock_s + 600.0
    car, setups = draw_car(rng["car"], scenario), draw_setups(rng["setups"], scenario)
    instruments = draw_instruments(rng["sensors"], car, scenario)
    if scenario.dampers:
        car = with_load_properties(rng["loads"], car, scenario, instruments.growth)
        instruments = with_load_instruments(rng["loads"], instruments, scenario, len(plan))
    air = draw_air(rng["air"], begin)
    draw = DayDraw(
        car=car,
        setups={s.name: s for s in setups},
        driver=_driver(rng["driver"], scenario),
        road=draw_road(rng["road"], float(rng["road"].uniform(0.0, 6e-4)) * (2.0 if scenario.hard else 1.0)),
        air=air,
        slow_wind=draw_slow_wind(rng["wind"], scenario, begin, end),
        gusts=draw_gust_law(rng["wind"], scenario),
        tyres=draw_tyre_law(rng["tyres"]),
        scenario=scenario,
        density=air.density_kgm3(0.5 * (begin + end)),
    )
    runs = drive_run(
        draw, plan, rng["drive"], rng["wind"], tyre_rng=rng["tyres"], steady_rng=rng["steady"]
    )
    logged = tuple(_logged_run(run, draw, instruments, rng["sensors"], rng["load sensors"]) for run in runs)
    if scenario.airspeed:
        law = draw_pitot_law(rng["pitot"], scenario, draw.density, len(runs))
        logged = tuple(with_air_speed(run, true, law, rng["pitot"]) for run, true in zip(logged, runs, strict=True))
    truth = day_truth(draw, runs, instruments)
    stated = with_pitot(stated_car(car, scenario), scenario)
    day = Day(
        name=f"simulated day {seed}",
        date=dt.date(2026, 5, 9),
        car=ratio_inverted(stated) if "ratio inverted" in scenario.faults else stated,
        weather=_weather(rng["weather"], draw, begin, end),
        setups=tuple(stated_setup(s, rng["standing"]) for s in setups),
        runs=logged,
        venue=_venue(rng["road"], draw, truth),
    )
    return HostileDay(day, truth, scenario, runs)


def _driver(rng: np.random.Generator, scenario: Scenario) -> Known:
    drawer = Drawer(rng, scenario.fixed_truth)
    return drawer.known(drawer.uniform(55.0, 90.0, 72.0), 0.5, 40.0)


def _logged_run(
    run: TrueRun,
    draw: DayDraw,
    instruments: Instruments,
    rng: np.random.Generator,
    load_rng: np.random.Generator,
) -> Run:
    plan, scenario = run.plan, draw.scenario
    sheet_tells = len(plan.directions) == 1 or scenario.one_way
    recordings = record(run, draw, instruments, rng, load_rng)
    return Run(
        number=plan.number,
        setup=plan.setup,
        logs=tuple(LogFile(r.file) for r in recordings),
        driver_mass_kg=draw.driver.stated,
        start_clock_s=plan.start_clock_s,
        coasting="neutral",
        direction=("out" if plan.directions[0] > 0 else "back") if sheet_tells else None,
        recordings=recordings,
    )


def _weather(
    rng: np.random.Generator, draw: DayDraw, begin_s: float, end_s: float
) -> tuple[WeatherReading, ...]:
    """A reading every half hour: one instrument, so one error of p, T and φ for the whole day."""
    off = rng.standard_normal(3) * (PRESSURE_U_PA, TEMPERATURE_U_K, HUMIDITY_U)
    bias = STATION_BIAS_MPS * rng.standard_normal(2)
    readings = []
    for clock in np.arange(begin_s - 300.0, end_s + WEATHER_EVERY_S, WEATHER_EVERY_S):
        pressure, temperature, humidity = np.add(draw.air.at(float(clock)), off)
        wind = _anemometer(rng, draw, float(clock), bias) if draw.scenario.anemometer else (None, None)
        readings.append(
            WeatherReading(
                clock_s=float(clock),
                pressure_pa=Quantity(float(pressure), PRESSURE_U_PA),
                temperature_k=Quantity(float(temperature), TEMPERATURE_U_K),
                humidity=Quantity(float(np.clip(humidity, 0.0, 1.0)), HUMIDITY_U),
                wind_speed_mps=wind[0],
                wind_from_rad=wind[1],
            )
        )
    return tuple(readings)


def _anemometer(
    rng: np.random.Generator, draw: DayDraw, clock_s: float, bias: np.ndarray
) -> tuple[Quantity, Quantity]:
    """Slow wind as a station sees it: an error of the place for the day and one of each reading."""
    components = np.array(draw.slow_wind.at(clock_s)) + bias + STATION_NOISE_MPS * rng.standard_normal(2)
    u = float(np.hypot(STATION_BIAS_MPS, STATION_NOISE_MPS))
    speed = float(np.hypot(*components))
    # Against 'out' means from ahead; positive cross wind blows from the right-hand side
    comes_from = (draw.road.heading_rad + np.arctan2(components[1], components[0])) % (2.0 * np.pi)
    return Quantity(speed, u, "measured"), Quantity(float(comes_from), float(u / max(speed, u)), "measured")


def _venue(rng: np.random.Generator, draw: DayDraw, truth: dict[str, Any]) -> Venue:
    road, scenario = draw.road, draw.scenario
    grade_u = 0.0005
    grade = Quantity(truth["grade"] + grade_u * float(rng.standard_normal()), grade_u)
    return Venue(
        name="simulated straight",
        heading_rad=road.heading_rad,
        length_m=1200.0,
        grade=grade if scenario.grade_given else None,
        elevation=_survey(rng, road) if scenario.survey else (),
    )


def _survey(rng: np.random.Generator, road: Road) -> tuple[tuple[float, float], ...]:
    """Levelled every 20 m over the straight, each point with 3 mm of error."""
    distance = np.arange(-100.0, 1301.0, 20.0)
    height = np.interp(distance, road.distance(), road.elevation())
    height += 0.003 * rng.standard_normal(distance.size) - np.interp(0.0, distance, height)
    return tuple((float(s), float(z)) for s, z in zip(distance, height, strict=True))
