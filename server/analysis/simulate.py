"""Simulated test days: whole days with their truth, for planning one and for studying a result."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from server.aero.areas import speed_of_weight
from server.analysis.simulate_car import TrueCar
from server.analysis.simulate_drive import Drive, drive_run
from server.analysis.simulate_like import plan_like
from server.analysis.simulate_motion import COAST, HOLD
from server.analysis.simulate_plan import RunPlan, SimulationPlan
from server.analysis.simulate_reference import TrueAreas, reference_density
from server.analysis.simulate_sensors import record
from server.analysis.simulate_truth import TrueDay, draw_day
from server.testday.values import Day, LogFile, Quantity, Recording, Run, Setup, WeatherReading

__all__ = ["SimulatedDay", "Truth", "plan_like", "simulate_day"]


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """The truth behind a simulated day.

    setups: per setup, the true values under the names of the estimates (`SetupResult.estimates`): c0 of the
    warm tyre, SCx_apparent = SCx + c0·SCz; head_wind_out without gusts and grade, both as means over the
    day's coast-downs (over all its passes where nothing coasted); bend_front, bend_rear: relative change of SCz per
    metre of sink [1/m], where there is any.
    drives: per run number, the run as it was driven.
    """

    setups: Mapping[str, Mapping[str, float]]
    car: TrueCar
    day: TrueDay
    drives: Mapping[int, Drive]

    def difference(self, setup: str, baseline: str, quantity: str) -> float:
        """True difference of a quantity, setup − baseline."""
        return self.setups[setup][quantity] - self.setups[baseline][quantity]


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedDay:
    """A day as the loggers wrote it, and its truth."""

    day: Day
    truth: Truth


def simulate_day(plan: SimulationPlan, seed: int) -> SimulatedDay:
    """Draw the truth of a day from the plan, drive it and log it. The same plan and seed give the same day.

    Raises ValueError where the plan can't be driven, naming the run.
    """
    rng = np.random.default_rng(seed)
    truth = draw_day(plan, rng)
    drives, runs = {}, []
    warmth, stopped = 0.0, -math.inf
    for planned in sorted(plan.runs, key=lambda run: run.start_clock_s):
        warmth *= math.exp(-max(0.0, planned.start_clock_s - stopped) / plan.tyres.cooling_s)
        drive, warmth = drive_run(plan, truth, planned, warmth, rng)
        stopped = planned.start_clock_s + float(drive.time_s[-1])
        drives[planned.number] = drive
        signals = record(drive, plan, truth, rng, planned.setup)
        runs.append(_run(planned, Recording("simulated", signals, planned.start_clock_s)))
    day = Day(
        name=plan.name,
        date=plan.date,
        car=plan.car,
        weather=_readings(plan, truth, rng),
        setups=tuple(planned.setup for planned in plan.setups),
        runs=tuple(sorted(runs, key=lambda run: run.number)),
        venue=plan.venue,
        timezone=plan.timezone,
        reference_speed_mps=plan.reference_speed_mps,
        notes=plan.notes,
        predictions=plan.predictions,
    )
    around = _conditions(plan, truth, drives)
    setups = {planned.setup.name: _true_values(plan, planned.setup, truth) | around for planned in plan.setups}
    return SimulatedDay(day, Truth(setups, truth.car, truth, drives))


def _run(planned: RunPlan, recording: Recording) -> Run:
    return Run(
        number=planned.number,
        setup=planned.setup,
        logs=(LogFile(f"logs/run{planned.number:02d}.csv"),),
        driver_mass_kg=planned.driver_mass_kg,
        start_clock_s=planned.start_clock_s,
        coasting=planned.coasting,
        notes=planned.notes,
        recordings=(recording,),
    )


def _readings(plan: SimulationPlan, truth: TrueDay, rng: np.random.Generator) -> tuple[WeatherReading, ...]:
    """The stated air, and where there is an anemometer the wind it read over two minutes."""
    u = plan.anemometer_u_mps
    if u is None:
        return plan.weather
    heading = plan.venue.heading_rad or 0.0
    gust_left = truth.gust_sd_mps * math.sqrt(min(1.0, 2.0 * truth.gust_time_s / 120.0))
    spread = math.hypot(u, gust_left)
    readings = []
    for reading in plan.weather:
        clock = plan.runs[0].start_clock_s if reading.clock_s is None else reading.clock_s
        head = float(np.interp(clock, truth.wind_clock_s, truth.head_out_mps)) + spread * rng.standard_normal()
        cross = float(np.interp(clock, truth.wind_clock_s, truth.cross_mps)) + spread * rng.standard_normal()
        speed = math.hypot(head, cross)
        direction = math.atan2(cross, head) + heading
        readings.append(
            replace(
                reading,
                wind_speed_mps=Quantity(speed, spread),
                wind_from_rad=Quantity(direction % (2.0 * math.pi), min(1.0, spread / max(speed, 0.1))),
            )
        )
    return tuple(readings)


def _true_values(plan: SimulationPlan, setup: Setup, truth: TrueDay) -> dict[str, float]:
    areas = truth.areas[setup.name]
    total = areas.scz_front_m2 + areas.scz_rear_m2
    values = {
        "SCx": areas.scx_m2,
        "SCz_front": areas.scz_front_m2,
        "SCz_rear": areas.scz_rear_m2,
        "SCz": total,
        "SCx_apparent": areas.scx_m2 + truth.car.rolling_c0 * total,
        "c0": truth.car.rolling_c0,
        "c1": truth.car.rolling_c1_s_per_m,
    }
    if total != 0.0:
        values["balance_front"] = areas.scz_front_m2 / total
        values["LD"] = total / areas.scx_m2
    if total > 0.0:
        values["weight_speed"] = float(
            speed_of_weight(areas.mass_kg, total, reference_density(plan), plan.gravity_mps2)
        )
    return values | _true_heights(setup, areas)


def _true_heights(setup: Setup, areas: TrueAreas) -> dict[str, float]:
    """Ride heights at the reference condition where the standing ones are stated, and the bends that there are."""
    static = (setup.front_ride_height_m, setup.rear_ride_height_m)
    sinks, bends = (areas.sink_front_m, areas.sink_rear_m), (areas.bend_front_per_m, areas.bend_rear_per_m)
    found = {}
    for end, height, sink, bend in zip(("front", "rear"), static, sinks, bends, strict=True):
        if height is not None:
            found[f"ride_height_{end}"] = height - sink
        if bend != 0.0:
            found[f"bend_{end}"] = bend
    return found


def _conditions(plan: SimulationPlan, truth: TrueDay, drives: Mapping[int, Drive]) -> dict[str, float]:
    """Means over the day's coast-downs: head wind when travelling out, gusts left out, and grade."""
    winds: list[float] = []
    grades: list[float] = []
    wanted = (COAST,) if any(run.directions for run in plan.runs) else (HOLD,)
    for run in plan.runs:
        drive = drives[run.number]
        for leg in np.unique(drive.leg):
            on = np.isin(drive.phase, wanted) & (drive.leg == leg)
            if np.any(on):
                clock = run.start_clock_s + drive.time_s[on]
                winds.append(float(np.mean(np.interp(clock, truth.wind_clock_s, truth.head_out_mps))))
                grades.append(float(np.mean(drive.grade[on] * np.cos(drive.angle_rad[on]))))
    return {"head_wind_out": float(np.mean(winds)), "grade": float(np.mean(grades))}
