"""From a fitted day to the plan of days like it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from server.analysis.ballast import with_ballast
from server.analysis.load_priors import SPEED_LATE_S
from server.analysis.result import AxleEnd, DayResult, Estimate, Pass, SetupResult
from server.analysis.simulate_lengths import brake_length, longest_trip
from server.analysis.simulate_plan import (
    DriverPlan,
    InstrumentPlan,
    RunPlan,
    SetupPlan,
    SimulationPlan,
    SteadyPlan,
    TyrePlan,
    WindPlan,
)
from server.errors import StillairError
from server.testday.values import Day, Direction, Quantity, Recording, Run, Setup, Venue

STUDENT_CAR_KG = 308.0
SLOWEST_HELD_MPS = 5.0
SETTLING_S = 1.0  # a held speed is found once its slope has settled
UNKNOWN_DOWNFORCE_M2 = Quantity(1.5, 1.0, "default")


def plan_like(day: Day, result: DayResult) -> SimulationPlan:
    """The plan of days like this one: same car, setups, order and speeds of passes, instruments and wind.

    What the day states (car, air, downforce) is drawn from its stated values and uncertainties; drag areas,
    measured downforce areas and bends that were seen come from the fit. Each run's constant-speed passes follow
    its coast-downs. Raises ValueError where no setup has a drag area or nothing coasted, StillairError for a day
    typed by hand.
    """
    if any(recording.typed is not None for run in day.runs for recording in run.recordings):
        raise StillairError(
            "Coast-downs of this day were typed by hand; the study draws sensors' logs, so it can't make days like it."
        )
    day = with_ballast(day)
    setups = tuple(_setup_plan(day, found) for found in result.setups if "SCx" in found.estimates)
    if not setups:
        raise ValueError("result: no setup has a drag area, so there is nothing to make days like it from")
    names = {planned.setup.name for planned in setups}
    passes = [p for found in result.setups for p in found.passes if p.used]
    runs = tuple(_run_plan(run, [p for p in passes if p.run == run.number]) for run in day.runs if run.setup in names)
    runs = tuple(run for run in runs if run.directions or run.steady)
    if not any(run.directions for run in runs):
        raise ValueError("result: no coast-down was used, so there is nothing to make days like it from")
    plan = SimulationPlan(
        name=day.name,
        car=day.car,
        setups=setups,
        runs=runs,
        venue=replace(day.venue, heading_rad=day.venue.heading_rad or 0.0, length_m=100_000.0),
        weather=tuple(replace(r, wind_speed_mps=None, wind_from_rad=None) for r in day.weather),
        wind=_wind_plan(result),
        tyres=TyrePlan(pass_scatter_rel=_noise(result.noise, "scatter", TyrePlan().pass_scatter_rel)),
        instruments=_instrument_plan(day, result.noise),
        anemometer_u_mps=_anemometer_u(day),
        reference_speed_mps=day.reference_speed_mps,
        date=day.date,
        timezone=day.timezone,
        predictions=day.predictions,
    )
    return _with_room(plan, day)


def plan_or_refuse(day: Day, result: DayResult) -> SimulationPlan:
    """The same; raises StillairError, one sentence for a person, where no such days can be made."""
    try:
        return plan_like(day, result)
    except ValueError as error:
        raise StillairError(f"{day.name}: no study can be made, {str(error).partition(': ')[2]}.") from error


def _setup_plan(day: Day, found: SetupResult) -> SetupPlan:
    stated = next((s for s in day.setups if s.name == found.name), Setup(found.name))
    return SetupPlan(
        stated,
        _quantity(found.estimates["SCx"]),
        _downforce(found.estimates.get("SCz_front"), stated.scz_front_m2),
        _downforce(found.estimates.get("SCz_rear"), stated.scz_rear_m2),
        _bend(found, "front"),
        _bend(found, "rear"),
    )


def _downforce(estimate: Estimate | None, typed: Quantity | None) -> Quantity:
    """Measured downforce as it was found; what was not measured as the day states it."""
    if estimate is not None and estimate.source == "measured":
        return _quantity(estimate)
    return typed or (_quantity(estimate) if estimate is not None else UNKNOWN_DOWNFORCE_M2)


def _bend(found: SetupResult, axle: AxleEnd) -> Quantity:
    """Bend of an axle's SCz where one was seen, else none [1/m]."""
    if found.bend is None or not found.bend.bent or axle not in found.bend.slope:
        return Quantity(0.0)
    return _quantity(found.bend.slope[axle])


def _run_plan(run: Run, passes: Sequence[Pass]) -> RunPlan:
    ordered = sorted(passes, key=lambda p: p.start_s)
    coasts = [p for p in ordered if p.kind == "coast-down"]
    held = [p for p in ordered if p.kind == "constant-speed" and p.low_mps > SLOWEST_HELD_MPS]
    return RunPlan(
        number=run.number,
        setup=run.setup,
        start_clock_s=_start_clock(run),
        driver_mass_kg=run.driver_mass_kg,
        directions=tuple(_direction(p) for p in coasts),
        speeds_mps=tuple((p.high_mps + 0.5, max(p.low_mps, 1.0)) for p in coasts),
        coasting="neutral" if run.coasting == "unknown" else run.coasting,
        steady=tuple(
            SteadyPlan(_direction(p), 0.5 * (p.low_mps + p.high_mps), p.end_s - p.start_s + SETTLING_S) for p in held
        ),
    )


def _direction(of: Pass) -> Direction:
    return "back" if of.direction < 0 else "out"


def _start_clock(run: Run) -> float:
    clocks = [run.start_clock_s, *(recording.start_clock_s for recording in run.recordings)]
    return next((clock for clock in clocks if clock is not None), 36_000.0 + 900.0 * run.number)


def _wind_plan(result: DayResult) -> WindPlan:
    heads = [s.estimates["head_wind_out"].value for s in result.setups if "head_wind_out" in s.estimates]
    typical = WindPlan()
    time = _noise(result.noise, "gust_time", typical.gust_time_s.value)
    power = _noise(result.noise, "gust_power", typical.gust_sd_mps.value**2 * typical.gust_time_s.value)
    sd = math.sqrt(power / time)
    head = float(np.mean(heads)) if heads else 0.0
    return WindPlan(
        head_out_mps=Quantity(head, max(0.3, 0.2 * abs(head))),
        cross_mps=Quantity(0.0, max(0.5, abs(head))),
        slow_sd_mps=_noise(result.noise, "slow_wind", typical.slow_sd_mps),
        gust_sd_mps=Quantity(sd, 0.2 * sd),
        gust_time_s=Quantity(time, 0.2 * time),
    )


def _instrument_plan(day: Day, noise: Mapping[str, Estimate]) -> InstrumentPlan:
    recordings = [recording for run in day.runs for recording in run.recordings]
    typical = InstrumentPlan()
    wheels = ("rl", "rr") if day.car.driven == "front" else ("fl", "fr")
    wheel_rate = max(_rate(recordings, f"wheel_speed_{wheel}") for wheel in wheels)
    loads = {stem: _any_rate(recordings, stem) for stem in ("damper_", "ride_height_", "pushrod_load_")}
    return replace(
        typical,
        wheel_rate_hz=max(wheel_rate, _rate(recordings, "vehicle_speed")),
        wheel_delay_s=SPEED_LATE_S if any(loads.values()) else typical.wheel_delay_s,
        satellite_rate_hz=_rate(recordings, "gps_speed"),
        satellite_noise_mps=_noise(noise, "satellite_white", typical.satellite_noise_mps),
        satellite_colour_mps=_noise(noise, "satellite_colour", 0.0),
        satellite_colour_s=_noise(noise, "satellite_time", typical.satellite_colour_s),
        position_rate_hz=_rate(recordings, "latitude"),
        pedal_rate_hz=max(_rate(recordings, "throttle"), _rate(recordings, "brake_pressure")),
        damper_rate_hz=loads["damper_"],
        ride_height_rate_hz=loads["ride_height_"],
        pushrod_rate_hz=loads["pushrod_load_"],
    )


def _any_rate(recordings: Sequence[Recording], stem: str) -> float:
    """Rate of the fastest role of a kind [Hz]; 0 where none was logged."""
    roles = {role for recording in recordings for role in recording.signals if role.startswith(stem)}
    return max((_rate(recordings, role) for role in sorted(roles)), default=0.0)


def _rate(recordings: Sequence[Recording], role: str) -> float:
    """Usual rate at which a role was logged [Hz], at most 100; 0 where it was not."""
    for recording in recordings:
        signal = recording.signals.get(role)
        if signal is not None and len(signal.time_s) > 2:
            step = float(np.median(np.diff(signal.time_s)))
            return min(100.0, round(1.0 / step, 3)) if step > 0.0 else 0.0
    return 0.0


def _anemometer_u(day: Day) -> float | None:
    u = [reading.wind_speed_mps.u for reading in day.weather if reading.wind_speed_mps is not None]
    return max(0.2, float(np.mean(u))) if u else None


def _with_room(plan: SimulationPlan, day: Day) -> SimulationPlan:
    """Turning marks as far apart as the longest trip; the straight as long as the day's, or as needed."""
    mass = plan.car.mass_kg.value + plan.runs[0].driver_mass_kg.value
    hands = DriverPlan(power_w=DriverPlan().power_w * max(1.0, mass / STUDENT_CAR_KG))
    sized = replace(plan, driver=hands, venue=replace(plan.venue, length_m=100_000.0))
    longest = max(longest_trip(sized, run) for run in plan.runs)
    speeds = [high for run in plan.runs for high, _ in run.speeds()]
    fastest = max(speeds + [held.speed_mps for run in plan.runs for held in run.steady])
    spare = brake_length(hands, fastest) + hands.margin_m
    marks = (spare, spare + longest)
    venue: Venue = replace(plan.venue, length_m=max(day.venue.length_m or 0.0, marks[1] + spare))
    return replace(plan, driver=replace(hands, marks_m=marks), venue=venue)


def _noise(noise: Mapping[str, Estimate], name: str, otherwise: float) -> float:
    estimate = noise.get(name)
    return estimate.value if estimate is not None and estimate.value > 0.0 else otherwise


def _quantity(estimate: Estimate) -> Quantity:
    return Quantity(estimate.value, estimate.u, estimate.source)
