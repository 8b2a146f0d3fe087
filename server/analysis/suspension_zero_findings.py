"""What is said of zeros that drift over a run or have moved."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from server.analysis.result import Pass
from server.analysis.suspension_sensors import CarLoads, Sensor, sensor_of
from server.analysis.suspension_trace import DriveTrace
from server.analysis.suspension_words import called, runs_called, size
from server.analysis.suspension_zeros import ZeroFit, fit_zeros, zero_series
from server.testday.values import Day, Finding, Run

DRIFT_WHEEL_M = 0.0003
ROD_TIMES = 2.0  # strain gauges wander with temperature (common practice, no source)
MOVED_WHEEL_M = 0.0009
SURE = 6.0
ALIKE = 0.4


def zero_findings(
    traces: Sequence[DriveTrace], passes: Sequence[Pass], loads: Mapping[int, CarLoads], day: Day
) -> list[Finding]:
    """One finding for each sensor whose zero drifts within runs, jumps within one, or moves between runs.

    A zero may move between setups and drivers, and with its partner: then the car stands otherwise.
    """
    if not traces:
        return []
    car = next(iter(loads.values()))
    found: dict[str, ZeroFit] = {}
    for role, series in zero_series(traces, passes).items():
        fit = fit_zeros(series)
        if fit is not None:
            found[role] = fit
    findings = []
    for role, fit in found.items():
        sensor = sensor_of(role)
        if sensor is None:
            continue
        partner = found.get(sensor.partner or "")
        findings += _drift(sensor, fit, partner, car)
        findings += _moved(sensor, fit, partner, car, day)
    return findings


def _drift(sensor: Sensor, fit: ZeroFit, partner: ZeroFit | None, car: CarLoads) -> list[Finding]:
    least = car.least_move(sensor, DRIFT_WHEEL_M) * (1.0 if sensor.unit_m else ROD_TIMES)
    large = {
        run: each
        for run, each in fit.drift.items()
        if abs(each[0]) > least and not _by_joints(sensor, fit, partner, car, run)
    }
    if not large:
        return []
    slipped = car.least_move(sensor, MOVED_WHEEL_M)
    jumped = [run for run, each in large.items() if each[2] and abs(each[0]) > slipped]
    slid = [run for run in large if run not in jumped]
    findings = []
    if slid:
        most = max((large[run][0] for run in slid), key=abs)
        text = (
            f"The zero of {_lower(sensor)} drifts by {size(sensor, most)} over a run, "
            f"{runs_called(slid, fit.levels)}; joint friction and noise do not explain it. Each pass has a zero of its "
            "own, so that its loads hold; ride heights are less sure."
        )
        findings.append(Finding("zero-drift", "check", text, slid[0] if len(slid) == 1 else None))
    if jumped:
        most = max((large[run][0] for run in jumped), key=abs)
        text = (
            f"The zero of {_lower(sensor)} jumps by about {size(sensor, most)} within a run, "
            f"{runs_called(jumped, fit.levels)}: the sensor may have slipped. Look at its mounting."
        )
        findings.append(Finding("zero-moved", "check", text, jumped[0] if len(jumped) == 1 else None))
    return findings


def _by_joints(sensor: Sensor, fit: ZeroFit, partner: ZeroFit | None, car: CarLoads, run: int) -> bool:
    """Whether joints that once stopped otherwise may be all: in single runs, both sides alike, within their play."""
    if len(fit.drift) == len(fit.levels) or partner is None or run not in partner.drift:
        return False
    mine, other = fit.drift[run][0], partner.drift[run][0]
    alike = mine * other > 0.0 and abs(mine - other) < ALIKE * abs(mine)
    return alike and abs(mine) < 2.0 * (car.friction(sensor) or 0.0)


def _moved(sensor: Sensor, fit: ZeroFit, partner: ZeroFit | None, car: CarLoads, day: Day) -> list[Finding]:
    """Levels against those of the run before in the same setup with the same driver."""
    least = car.least_move(sensor, MOVED_WHEEL_M)
    steps = []
    for before, after in _alike(day, fit):
        step, u = _step(fit, before, after)
        other = _step(partner, before, after)[0] if partner and {before, after} <= set(partner.levels) else 0.0
        with_partner = step * other > 0.0 and abs(step - other) < ALIKE * abs(step)
        if abs(step) > max(least, SURE * u) and not with_partner:
            steps.append((before, after, step))
    if not steps:
        return []
    most = max(steps, key=lambda each: abs(each[2]))
    text = (
        f"The zero of {_lower(sensor)} moved by {size(sensor, most[2])} between run {most[0]} and run {most[1]}, which "
        "share setup and driver"
    )
    text += " and its partner did not: the sensor may have slipped." if partner else ": the sensor may have slipped."
    text += " Loads hold, for each run has its own zero; ride heights do not. Look at its mounting."
    return [Finding("zero-moved", "check", text, most[1])]


def _alike(day: Day, fit: ZeroFit) -> list[tuple[int, int]]:
    """Pairs of runs that follow each other in one setup with one driver."""
    last: dict[tuple[str, float], int] = {}
    pairs = []
    for run in day.runs:
        if run.number in fit.levels:
            key = _state(run)
            if key in last:
                pairs.append((last[key], run.number))
            last[key] = run.number
    return pairs


def _state(run: Run) -> tuple[str, float]:
    return run.setup, run.driver_mass_kg.value


def _step(fit: ZeroFit, before: int, after: int) -> tuple[float, float]:
    (first, u_first), (second, u_second) = fit.levels[before], fit.levels[after]
    return second - first, max(fit.spread, (u_first**2 + u_second**2) ** 0.5)


def _lower(sensor: Sensor) -> str:
    return called(sensor).replace("The ", "the ", 1)
