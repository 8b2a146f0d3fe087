"""Which speed leads the pass finding, and that speed, cleaned.

Undriven wheels roll without slip and show the shape best; satellite speed is next; then a speed of the car's
own bus; driven wheels come last, for they slip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.analysis.intervals import inside
from server.analysis.signal_checks import CheckedSignal, check_signal
from server.analysis.signal_roles import is_speed
from server.analysis.speed_checks import lost_intervals
from server.testday.values import Car, Finding, FloatArray, Run, Signal

SpeedKind = Literal["undriven wheels", "satellite", "vehicle", "driven wheels"]
WHEELS = ("fl", "fr", "rl", "rr")
DRIVEN = {"rear": ("rl", "rr"), "front": ("fl", "fr"), "all": WHEELS}
SLOWEST_PERIOD_S = 1.6
LEAST_COVERAGE = 0.5
LEAST_TOP_MPS = 3.0
GAP_STEPS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class SpeedSource:
    """The leading speed of a run: kind, the roles it comes from, the cleaned signal on the run's clock."""

    kind: SpeedKind
    roles: tuple[str, ...]
    signal: Signal
    findings: tuple[Finding, ...] = ()

    @property
    def period_s(self) -> float:
        """Median spacing of the samples [s]."""
        return float(np.median(np.diff(self.signal.time_s)))


def best_signals(run: Run) -> dict[str, Signal]:
    """Role → signal over all recordings of a run; where several have a role, the one with most samples."""
    best: dict[str, Signal] = {}
    for recording in run.recordings:
        for role, signal in recording.signals.items():
            if role not in best or len(signal.time_s) > len(best[role].time_s):
                best[role] = signal
    return best


def pick_speed(run: Run, car: Car) -> SpeedSource | None:
    """The speed to lead the pass finding; None where the run has no usable one."""
    signals = best_signals(run)
    checked = {role: check_signal(signal, role, run.number) for role, signal in signals.items() if is_speed(role)}
    sources = [
        source
        for kind, roles in _order(car)
        if (source := _source(kind, [role for role in roles if role in checked], checked)) is not None
    ]
    if not sources:
        return None
    chosen = _first_good(sources)
    return _with_warning(chosen, run.number)


def _order(car: Car) -> list[tuple[SpeedKind, tuple[str, ...]]]:
    driven = DRIVEN[car.driven]
    undriven = tuple(wheel for wheel in WHEELS if wheel not in driven)
    return [
        ("undriven wheels", tuple(f"wheel_speed_{wheel}" for wheel in undriven)),
        ("satellite", ("gps_speed",)),
        ("vehicle", ("vehicle_speed",)),
        ("driven wheels", tuple(f"wheel_speed_{wheel}" for wheel in driven)),
    ]


def _source(kind: SpeedKind, roles: list[str], checked: Mapping[str, CheckedSignal]) -> SpeedSource | None:
    """Mean of the wheels of a kind, or the one speed; None where nothing of it moves."""
    found = {role: checked[role].clean for role in roles}
    found = {role: s for role, s in found.items() if len(s.time_s) >= 8 and np.max(s.values) > LEAST_TOP_MPS}
    if not found:
        return None
    findings = tuple(finding for role in found for finding in checked[role].findings)
    if len(found) == 1:
        role, signal = next(iter(found.items()))
        return SpeedSource(kind, (role,), signal, findings)
    return SpeedSource(kind, tuple(found), _mean(list(found.values())), findings)


def _mean(signals: list[Signal]) -> Signal:
    """Mean of an axle's wheels on the clock of the denser one; a lost wheel is left out, its scale kept."""
    signals = sorted(signals, key=lambda s: -len(s.time_s))
    time = signals[0].time_s
    table = np.vstack([_sampled(signal, time) for signal in signals])
    for i, signal in enumerate(signals):
        others = [other for j, other in enumerate(signals) if j != i]
        for other in others:
            table[i, inside(time, lost_intervals(signal, other))] = np.nan
    both = np.isfinite(table).all(axis=0) & (np.min(np.nan_to_num(table), axis=0) > LEAST_TOP_MPS)
    middle = np.mean(table[:, both], axis=0) if both.any() else np.ones(1)
    scale = [float(np.median(middle / row[both])) if both.any() else 1.0 for row in table]
    only = table * np.array(scale)[:, None]
    mean = np.where(np.isfinite(table).all(axis=0), np.mean(table, axis=0), _either(only))
    keep = np.isfinite(mean)
    return Signal(time[keep], mean[keep], " and ".join(signal.name for signal in signals))


def _either(table: FloatArray) -> FloatArray:
    """Mean of the values there are, column by column; NaN where there is none."""
    good = np.isfinite(table)
    count = np.sum(good, axis=0)
    total = np.sum(np.where(good, table, 0.0), axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _sampled(signal: Signal, time_s: FloatArray) -> FloatArray:
    """Values at these times; NaN where the signal has a hole or has not begun."""
    if signal.time_s is time_s:
        return signal.values
    values = np.interp(time_s, signal.time_s, signal.values, left=np.nan, right=np.nan)
    at = np.clip(np.searchsorted(signal.time_s, time_s), 1, len(signal.time_s) - 1)
    wide = signal.time_s[at] - signal.time_s[at - 1] > GAP_STEPS * np.median(np.diff(signal.time_s))
    exact = (time_s == signal.time_s[at]) | (time_s == signal.time_s[at - 1])
    return np.where(wide & ~exact, np.nan, values)


def _first_good(sources: list[SpeedSource]) -> SpeedSource:
    """The first that is fast enough and covers the run; else the fastest of those that cover it."""
    longest = max(_coverage(source) for source in sources)
    covering = [source for source in sources if _coverage(source) >= LEAST_COVERAGE * longest]
    quick = [source for source in covering if source.period_s <= SLOWEST_PERIOD_S]
    return quick[0] if quick else min(covering, key=lambda source: source.period_s)


def _coverage(source: SpeedSource) -> float:
    """Seconds of the record that are not holes."""
    step = np.diff(source.signal.time_s)
    return float(np.sum(step[step < 2.0 + GAP_STEPS * source.period_s]))


def _with_warning(source: SpeedSource, run: int) -> SpeedSource:
    findings = list(source.findings)
    if source.kind == "driven wheels":
        text = "Only driven wheels tell the speed: they slip under power and their spin slows the car."
        findings.append(Finding("driven-wheel-speed", "check", text, run))
    if source.period_s > SLOWEST_PERIOD_S:
        text = (
            f"The speed is renewed only every {source.period_s:.1f} s; lift and brake can't be placed "
            "well. Log at 10 Hz or faster."
        )
        findings.append(Finding("slow-speed", "check", text, run))
    return SpeedSource(source.kind, source.roles, source.signal, tuple(findings))
