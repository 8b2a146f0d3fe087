"""A day made ready: split logs, inferred headings, unknown directions, several drivers, air between readings."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from server.analysis.day_fit import fit_day
from server.analysis.day_priors import CROSS_WIND_SD_MPS, YAW_GROWTH, build_priors, downforce_prior, grade_prior
from server.analysis.prepare import prepare_day
from server.analysis.weather import day_air
from server.testday.values import Day, PredictionCase, Quantity, Recording, Signal, Venue
from tests.simulator import Scenario, draw_day


def split(recording: Recording, at_s: float) -> tuple[Recording, Recording]:
    halves = []
    for early in (True, False):
        signals = {
            role: Signal(s.time_s[(s.time_s < at_s) == early], s.values[(s.time_s < at_s) == early], s.name)
            for role, s in recording.signals.items()
        }
        halves.append(replace(recording, file=f"{recording.file}.{1 + early}", signals=signals))
    return halves[0], halves[1]


def test_a_log_split_in_two_gives_the_same_fit() -> None:
    day = draw_day(4, Scenario(pairs=2)).day
    runs = tuple(replace(run, recordings=split(run.recordings[0], 47.0)[::-1]) for run in day.runs)
    whole, parts = fit_day(day), fit_day(replace(day, runs=runs))
    assert len(parts.setups[0].fits) == len(whole.setups[0].fits) == 4
    assert parts.setups[0].estimates["SCx"].value == pytest.approx(whole.setups[0].estimates["SCx"].value, rel=1e-6)


def test_the_run_sheets_word_settles_what_out_is() -> None:
    day = draw_day(4, Scenario(pairs=2, passes_per_run=1)).day
    assert day.runs[0].direction == "out"
    blind = replace(day, venue=replace(day.venue, heading_rad=None))
    swapped = tuple(replace(run, direction="back" if run.direction == "out" else "out") for run in day.runs)
    told = prepare_day(blind)[0].venue.heading_rad
    turned = prepare_day(replace(blind, runs=swapped))[0].venue.heading_rad
    assert told is not None
    assert turned is not None
    assert np.cos(told - day.venue.heading_rad) > 0.99
    assert np.cos(turned - day.venue.heading_rad) < -0.99


def test_a_heading_taken_from_nobodys_word_is_said() -> None:
    day = draw_day(4, Scenario(pairs=1)).day
    runs = tuple(replace(run, direction=None) for run in day.runs)
    _, findings = prepare_day(replace(day, runs=runs, venue=replace(day.venue, heading_rad=None)))
    assert "direction-assumed" in {f.code for f in findings}


def test_unknown_direction_costs_certainty() -> None:
    """One-way passes whose direction nobody knows have a wind and a slope that nobody knows."""
    day = draw_day(6, Scenario(pairs=2, one_way=True, sensors="wheel", wind="calm", passes_per_run=1)).day
    known = replace(day, runs=tuple(_without_course(run) for run in day.runs))
    unknown = replace(known, runs=tuple(replace(run, direction=None) for run in known.runs))
    told, untold = fit_day(known).setups[0], fit_day(unknown).setups[0]
    assert {p.direction for p in untold.passes if p.used and p.kind == "coast-down"} == {0}
    assert untold.estimates["SCx"].u > 0.9 * told.estimates["SCx"].u
    assert "head_wind_out" not in untold.estimates


def _without_course(run):
    keep = ("wheel_speed_fl", "wheel_speed_fr", "throttle", "brake_pressure")
    recordings = tuple(replace(r, signals={k: s for k, s in r.signals.items() if k in keep}) for r in run.recordings)
    return replace(run, recordings=recordings)


def test_two_drivers_masses_dont_cancel() -> None:
    day = draw_day(9, Scenario(pairs=2, setups=2, wind="calm")).day
    vague = Quantity(day.runs[0].driver_mass_kg.value, 8.0)
    other = Quantity(vague.value + 0.001, 8.0)
    same = replace(day, runs=tuple(replace(run, driver_mass_kg=vague) for run in day.runs))
    two = replace(day, runs=tuple(replace(r, driver_mass_kg=other if r.setup == "B" else vague) for r in day.runs))
    one_driver, two_drivers = (fit_day(d).comparisons[0].deltas["SCx_apparent"].u for d in (same, two))
    area = fit_day(same).setups[0].estimates["SCx_apparent"].value
    mass = day.car.mass_kg.value + vague.value
    # a drag area goes with the mass: each driver's own 8 kg adds √2 · 8/m of the area to the difference's u
    added = np.sqrt(two_drivers**2 - one_driver**2)
    assert added == pytest.approx(np.sqrt(2.0) * 8.0 / mass * area, rel=0.25)


def weather_day(clocks: tuple[float | None, ...], temperatures: tuple[float, ...]) -> Day:
    day = draw_day(4, Scenario(pairs=1)).day
    readings = tuple(
        replace(day.weather[0], clock_s=clock, temperature_k=Quantity(kelvin, 0.5))
        for clock, kelvin in zip(clocks, temperatures, strict=True)
    )
    return replace(day, weather=readings)


def test_air_between_and_beyond_the_readings() -> None:
    air = day_air(weather_day((36_000.0, 39_600.0), (290.0, 296.0)), YAW_GROWTH, CROSS_WIND_SD_MPS)
    assert air.density(37_800.0) == pytest.approx(np.mean([air.density(36_000.0), air.density(39_600.0)]), rel=1e-9)
    assert air.away_h(37_800.0) == 0.0
    assert air.away_h(43_200.0) == pytest.approx(1.0)
    assert air.away_h(34_200.0) == pytest.approx(-0.5)


def test_readings_without_a_time_are_averaged() -> None:
    air = day_air(weather_day((None, None), (290.0, 296.0)), YAW_GROWTH, CROSS_WIND_SD_MPS)
    ends = [day_air(weather_day((None,), (t,)), YAW_GROWTH, CROSS_WIND_SD_MPS).density(0.0) for t in (290.0, 296.0)]
    assert air.density(0.0) == air.density(60_000.0) == pytest.approx(np.mean(ends), rel=1e-9)
    assert air.away_h(60_000.0) == 0.0


def test_budget_knows_which_way_the_density_goes() -> None:
    setup = fit_day(draw_day(4, Scenario(pairs=2)).day).setups[0]
    lines = {line.input: line for line in setup.budget}
    area = setup.estimates["SCx"].value
    temperature, pressure = lines["air temperature"], lines["air pressure"]
    assert temperature.unit == "K"
    assert pressure.unit == "Pa"
    # SCx goes as 1/ρ: +T/ρ per kelvin is about +1/T, −1/p per pascal (ideal gas)
    assert temperature.sensitivity == pytest.approx(area / temperature.value, rel=0.35)
    assert pressure.sensitivity == pytest.approx(-area / pressure.value, rel=0.35)


def test_grade_from_an_elevation_table() -> None:
    venue = Venue(elevation=((0.0, 10.0), (600.0, 11.2), (1200.0, 12.4)))
    assert grade_prior(venue).value == pytest.approx(0.002)
    bent = Venue(elevation=((0.0, 10.0), (600.0, 10.0), (1200.0, 12.4)))
    assert grade_prior(bent).u > grade_prior(venue).u
    given = Venue(grade=Quantity(0.001, 0.0002), elevation=venue.elevation)
    assert grade_prior(given) == Quantity(0.001, 0.0002)


def test_downforce_typed_before_predicted_before_default() -> None:
    day = draw_day(4, Scenario(pairs=1)).day
    bare = replace(day.setups[0], scz_front_m2=None, scz_rear_m2=None)
    case = PredictionCase(bare.name, scz_front_m2=Quantity(1.4, 0.05), scz_rear_m2=Quantity(1.8, 0.05))
    predicted = replace(day, predictions=(case,))
    assert downforce_prior(day, day.setups[0], "front").source == "typed"
    assert downforce_prior(predicted, bare, "front").source == "predicted"
    assert downforce_prior(predicted, bare, "front").u == pytest.approx(np.hypot(0.05, 0.15 * 1.4))
    assert downforce_prior(day, bare, "front").source == "default"


def test_every_prior_has_a_width() -> None:
    day = draw_day(4, Scenario(pairs=1)).day
    exact = replace(day.car, rolling_c0=Quantity(0.018, 0.0), mass_kg=Quantity(230.0, 0.0))
    day = replace(day, car=exact, date=dt.date(2026, 5, 9))
    air = day_air(day, YAW_GROWTH, CROSS_WIND_SD_MPS)
    priors = build_priors(day, day.setups, air, None, ["wave_cos_1", "wave_sin_1"])
    assert np.all(priors.u > 0.0)
    assert len({p.name for p in priors.parameters}) == len(priors.parameters)
