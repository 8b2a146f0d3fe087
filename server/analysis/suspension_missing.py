"""Suspension sensors or entries of the car that are not there and without which loads can't be had or are half."""

from __future__ import annotations

from server.analysis.axle_spring import MOTION_RATIO_DEFAULT, PUSHROD_RATIO_DEFAULT
from server.analysis.result import AxleEnd
from server.analysis.suspension_sensors import ENDS, Sensor, sensors_of
from server.analysis.suspension_words import runs_called
from server.testday.values import Day, Finding, Run


def missing_findings(day: Day) -> list[Finding]:
    """Springs and ratios that are not given, a side without its partner, ride heights of one axle only."""
    by_run = {run.number: _sensors(run) for run in day.runs}
    every = {sensor.role: sensor for sensors in by_run.values() for sensor in sensors}
    if not every:
        return []
    found = [_no_spring(day, end, list(every.values())) for end in ENDS]
    found += [_no_ratio(day, end, list(every.values())) for end in ENDS]
    found += [_one_side(sensor, by_run) for sensor in every.values()]
    found.append(_one_height(list(every.values())))
    return [finding for finding in found if finding is not None]


def _sensors(run: Run) -> tuple[Sensor, ...]:
    return sensors_of({role for rec in run.recordings for role, s in rec.signals.items() if len(s.time_s) >= 8})


def _no_spring(day: Day, end: AxleEnd, sensors: list[Sensor]) -> Finding | None:
    axle = day.car.front if end == "front" else day.car.rear
    needing = sorted({s.source for s in sensors if s.axle == end and s.source != "push rod"})
    if not needing or axle.spring_rate_n_per_m is not None or axle.heave_table:
        return None
    named = {"damper": "dampers", "ride height": "ride heights"}
    what = " and ".join(named[source] for source in needing)
    text = (
        f"The {end} {what} are logged but no {end} spring rate is given, so no load can "
        f"be had from them: enter spring_rate_n_per_mm and motion_ratio in [car.{end}], or a heave_table."
    )
    return Finding("no-spring-rate", "check", text)


def _no_ratio(day: Day, end: AxleEnd, sensors: list[Sensor]) -> Finding | None:
    """A finding where loads rest on a ratio that nobody gave."""
    axle = day.car.front if end == "front" else day.car.rear
    sources = {s.source for s in sensors if s.axle == end}
    springs = axle.spring_rate_n_per_m is not None or bool(axle.heave_table)
    if "push rod" in sources and axle.pushrod_ratio is None:
        name, taken = "pushrod_ratio", PUSHROD_RATIO_DEFAULT
    elif sources and springs and axle.motion_ratio is None and not axle.motion_ratio_table:
        name, taken = "motion_ratio", MOTION_RATIO_DEFAULT
    else:
        return None
    text = (
        f"[car.{end}] {name} is not given: {taken.value:g} ± {taken.u:g} (one standard uncertainty) is used, which "
        f"leaves the {end} axle's loads wide."
    )
    return Finding("default-used", "check", text)


def _one_side(sensor: Sensor, by_run: dict[int, tuple[Sensor, ...]]) -> Finding | None:
    """A finding where a sensor is logged and its partner is not."""
    if sensor.partner is None:
        return None
    logged = {number: {s.role for s in sensors} for number, sensors in by_run.items()}
    whole = f"ride_height_{sensor.axle}" if sensor.source == "ride height" else sensor.partner
    alone = [n for n, roles in logged.items() if sensor.role in roles and not roles & {sensor.partner, whole}]
    if not alone:
        return None
    when = runs_called(alone, [n for n, roles in logged.items() if sensor.role in roles])
    text = (
        f"{sensor.partner} is not logged {when}: "
        f"the {sensor.axle} axle is told by {sensor.role} alone, which is right in straight running only."
    )
    return Finding("side-missing", "note", text, alone[0] if len(alone) == 1 else None)


def _one_height(sensors: list[Sensor]) -> Finding | None:
    ends = {s.axle for s in sensors if s.source == "ride height"}
    if len(ends) != 1:
        return None
    here = ends.pop()
    there = "rear" if here == "front" else "front"
    text = (
        f"Ride height is logged at the {here} only: a sensor that is not exactly over its axle feels the {there} axle "
        f"too, which then rests on the {there} dampers or on what the fit expects."
    )
    return Finding("ride-height-one-end", "note", text)
