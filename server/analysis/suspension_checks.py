"""What can be told of suspension sensors before the fit: which must not be used in which run, and why.

Nothing is repaired. A finding is said once per fault and sensor for the day and names its runs.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from server.analysis.result import LoadSource, Pass
from server.analysis.suspension_gain_findings import gain_findings, gains_of
from server.analysis.suspension_missing import missing_findings
from server.analysis.suspension_ratio import ratio_checks
from server.analysis.suspension_response import Response, fit_response
from server.analysis.suspension_sensors import CarLoads, Sensor, car_loads, sensor_of
from server.analysis.suspension_silent import Silence, at_its_stop, silent_by_force, silent_by_partner
from server.analysis.suspension_trace import DriveTrace, drive_trace
from server.analysis.suspension_turned import turned_findings
from server.analysis.suspension_turns import exchanged_pairs, rolls
from server.analysis.suspension_words import called, runs_called, size
from server.analysis.suspension_zero_findings import zero_findings
from server.testday.values import Day, Finding, Run


@dataclass(frozen=True, slots=True, eq=False)
class _Silences:
    """Silences of the day and, run by run, the roles that are out because of them."""

    found: tuple[Silence, ...] = ()
    out: dict[int, set[str]] = field(default_factory=dict)


def check_suspension(day: Day, passes: Sequence[Pass]) -> tuple[dict[int, frozenset[str]], list[Finding]]:
    """Run number → roles of suspension sensors that must not be used in it; and what was noticed.

    day: prepared (clocks matched); passes: of all its runs, zeros among them. Sensors are judged by their
    partner on the other side, by the load that acceleration moves between the axles against the entered rates
    and motion ratios, by turns, and by their readings on the standing car.
    """
    if not any(sensor_of(role) for run in day.runs for rec in run.recordings for role in rec.signals):
        return {}, []
    traces = [trace for run in day.runs if (trace := drive_trace(run, day.car)) is not None]
    loads = {trace.run.number: car_loads(day.car, trace.run.driver_mass_kg.value) for trace in traces}
    silent = _silences(traces, loads, passes)
    responses = _responses(traces, loads, silent.out)
    mean = _mean_loads(day)
    said, wrong = gain_findings(responses, mean, _runs_by_role(day))
    live = [_without(trace, silent.out.get(trace.run.number, set())) for trace in traces]
    if not any(finding.code == "motion-ratio-doubtful" for finding in said):
        usable = {role: mine for role, mine in responses.items() if role not in wrong}
        weighed = {loading.axle for loading in day.axle_loadings}
        said += turned_findings(ratio_checks(live, mean, wrong), gains_of(usable, mean), mean, weighed)
    findings = [
        *missing_findings(day),
        *_silent_findings(silent.found, day),
        *said,
        *_pair_findings(live, loads, wrong),
        *zero_findings(live, passes, loads, day),
    ]
    return _left_out(day, silent.out, wrong), findings


def _silences(traces: Sequence[DriveTrace], loads: Mapping[int, CarLoads], passes: Sequence[Pass]) -> _Silences:
    found: list[Silence] = []
    out: dict[int, set[str]] = {}
    for trace in traces:
        car = loads[trace.run.number]
        for sensor in trace.sensors:
            told = silent_by_partner(trace, sensor, car) or at_its_stop(trace, sensor, passes)
            if told is None:
                response = fit_response(trace, sensor.role, trace.readings[sensor.role], sensor, car)
                told = silent_by_force(trace, sensor, response, car)
            if told is not None:
                found.append(told)
                out.setdefault(trace.run.number, set()).add(sensor.role)
    return _Silences(tuple(found), out)


def _responses(
    traces: Sequence[DriveTrace], loads: Mapping[int, CarLoads], out: Mapping[int, set[str]]
) -> dict[str, list[Response]]:
    """Role → responses in the runs in which it lives."""
    found: dict[str, list[Response]] = {}
    for trace in traces:
        for sensor in trace.sensors:
            if sensor.role in out.get(trace.run.number, ()):
                continue
            car = loads[trace.run.number]
            response = fit_response(trace, sensor.role, trace.readings[sensor.role], sensor, car)
            if response is not None:
                found.setdefault(sensor.role, []).append(response)
    return found


def _without(trace: DriveTrace, roles: set[str]) -> DriveTrace:
    return replace(trace, sensors=tuple(s for s in trace.sensors if s.role not in roles)) if roles else trace


def _mean_loads(day: Day) -> CarLoads:
    drivers = [run.driver_mass_kg.value for run in day.runs]
    return car_loads(day.car, sum(drivers) / len(drivers))


def _runs_by_role(day: Day) -> dict[str, list[int]]:
    """Role → numbers of the runs that log it."""
    found: dict[str, list[int]] = {}
    for run in day.runs:
        for role in sorted({role for rec in run.recordings for role in rec.signals}):
            found.setdefault(role, []).append(run.number)
    return found


def _silent_findings(found: Sequence[Silence], day: Day) -> list[Finding]:
    findings = []
    logged = _runs_by_role(day)
    for role, manner in dict.fromkeys((each.role, each.manner) for each in found):
        sensor, mine = sensor_of(role), [s for s in found if (s.role, s.manner) == (role, manner)]
        if sensor is None:
            continue
        when = runs_called([s.run for s in mine], logged[role])
        text = _TEXTS[manner](sensor, mine, when)
        run = mine[0].run if len(mine) == 1 else None
        start = mine[0].from_s if len(mine) == 1 else None
        findings.append(Finding("damper-dead" if manner == "dead" else "travel-clipped", "check", text, run, start))
    return findings


def _dead_text(sensor: Sensor, mine: Sequence[Silence], when: str) -> str:
    worst = max(mine, key=lambda s: s.reference)
    text = f"{called(sensor)} does not follow the car {when}"
    if worst.reference > 0.0:
        other = "the other side's moves" if sensor.partner and sensor.side != "whole" else "the car must move it"
        text += f" ({size(sensor, worst.moved)} where {other} {size(sensor, worst.reference)})"
    begins = [s for s in mine if s.from_s is not None]
    if begins and (len(mine) == 1 or len(begins) == len(mine)):
        text += ", " + ", ".join(f"from {s.from_s:.0f} s on in run {s.run}" for s in begins[:3])
    return f"{text}: it is not used there. {_stands_in(sensor)} Look at its plug and its rod."


def _stands_in(sensor: Sensor) -> str:
    if sensor.side == "whole":
        return f"No such sensor is left at the {sensor.axle} axle."
    return f"The {sensor.axle} axle is then told by its other side alone, which is right in straight running."


def _clipped_text(sensor: Sensor, mine: Sequence[Silence], when: str) -> str:
    return (
        f"{called(sensor)} sits on the end of its range, at {size(sensor, mine[0].moved)}, during passes {when}: it "
        "is not used there. The sensor's stroke is too short or it is mounted too near its end."
    )


_TEXTS: dict[str, Callable[[Sensor, Sequence[Silence], str], str]] = {"dead": _dead_text, "clipped": _clipped_text}


def _pair_findings(traces: Sequence[DriveTrace], loads: Mapping[int, CarLoads], wrong: frozenset[str]) -> list[Finding]:
    pairs: dict[tuple[LoadSource, str], CarLoads] = {}
    for trace in traces:
        here = {s.role for s in trace.sensors} - wrong
        for sensor in trace.sensors:
            if sensor.side == "left" and {sensor.role, sensor.partner} <= here:
                pairs[sensor.source, sensor.axle] = loads[trace.run.number]
    return [_pair_finding(*each) for each in exchanged_pairs(rolls(traces, pairs))]


def _pair_finding(source: LoadSource, axles: tuple[str, ...], by: str) -> Finding:
    names = {"damper": "dampers", "ride height": "ride-height sensors", "push rod": "push rods"}[source]
    if by == "each other":
        text = (
            f"In turns the front and the rear {names} show the car rolling opposite ways: left and right are "
            "exchanged at one of the axles."
        )
    else:
        text = f"In turns the left and right {axles[0]} {names} move as if left and right were exchanged."
        if by == "rate":
            text += " Or the yaw rate or lateral acceleration is not positive to the left."
    return Finding("pair-swapped", "check", f"{text} Their mean is unaffected and stays in use; mend the roles.")


def _left_out(day: Day, out: Mapping[int, set[str]], wrong: frozenset[str]) -> dict[int, frozenset[str]]:
    found = {}
    for run in day.runs:
        roles = frozenset(out.get(run.number, set()) | (wrong & _roles(run)))
        if roles:
            found[run.number] = roles
    return found


def _roles(run: Run) -> set[str]:
    return {role for recording in run.recordings for role in recording.signals}
