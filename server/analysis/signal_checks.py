"""Faults of a run's channels, said once per kind and channel; bad samples are left out, none is repaired."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.analysis.held import clipped, frozen, renewal_samples, renewed
from server.analysis.intervals import BoolArray, Intervals, inside, runs_of, where
from server.analysis.signal_roles import checks_of, is_speed
from server.analysis.speed_checks import compare_speeds, left_out_of_speed, moving_of
from server.analysis.spikes import find_spikes
from server.analysis.suspension_sensors import is_suspension
from server.testday.values import Finding, FloatArray, Recording, Run, Signal

DROPOUT_S = 0.5
DROPOUT_STEPS = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class CheckedSignal:
    """A signal with what is wrong with it.

    keep: samples fit for use, shape (n,); repeated samples of a slow sensor count as unfit, but not as bad.
    bad: samples that are wrong, shape (n,). every: one new value in so many samples.
    """

    signal: Signal
    keep: BoolArray
    bad: BoolArray
    every: int
    findings: tuple[Finding, ...]

    @property
    def clean(self) -> Signal:
        """The signal without the samples that are not fit for use."""
        if self.keep.all():
            return self.signal
        return Signal(self.signal.time_s[self.keep], self.signal.values[self.keep], self.signal.name)


def check_signal(signal: Signal, role: str, run: int | None = None, moving: Intervals | None = None) -> CheckedSignal:
    """Find the spiky, frozen, clipped and repeated samples of one channel; a role without checks has none.

    moving: when the car moves; a speed tells it by itself.
    """
    checks = checks_of(role)
    n = len(signal.time_s)
    nothing = np.zeros(n, dtype=bool)
    number = np.isfinite(signal.values)
    if not number.all():
        return _numbers_only(signal, number, role, run, moving)
    if checks is None or n < 8:
        return CheckedSignal(signal, ~nothing, nothing, 1, ())
    if moving is None:
        moving = moving_of(signal) if is_speed(role) else where(signal.time_s, ~nothing)
    time, values = signal.time_s, signal.values
    every = renewal_samples(time, values, inside(time, moving))
    fresh = renewed(time, values, every) if every > 1 else ~nothing
    marks = {
        "sensor-lost": left_out_of_speed(time[fresh], values[fresh]) if is_speed(role) else None,
        "flat-lined": frozen(time[fresh], values[fresh], moving, checks.least_jump) if checks.still else None,
        "spikes": find_spikes(time[fresh], values[fresh], checks.floor, checks.floor_per_s, checks.only_above),
        "clipped": clipped(values[fresh]) if checks.ranged else None,
    }
    bad = nothing.copy()
    findings = [*_renewal_finding(signal, role, run, every)]
    for code, mark in marks.items():
        if mark is None or not mark.any():
            continue
        new = np.asarray(mark & ~bad[fresh])
        bad[fresh] |= new
        findings.extend(_mark_finding(_called(signal, role), run, code, time[fresh], new))
    return CheckedSignal(signal, fresh & ~bad, bad, every, tuple(findings))


def _numbers_only(
    signal: Signal, number: BoolArray, role: str, run: int | None, moving: Intervals | None
) -> CheckedSignal:
    """The check of the samples that are numbers; the others count as bad."""
    inner = Signal(signal.time_s[number], signal.values[number], signal.name)
    checked = check_signal(inner, role, run, moving)
    keep, bad = np.zeros(len(number), dtype=bool), ~number
    keep[number], bad[number] = checked.keep, checked.bad
    count = int(np.count_nonzero(~number))
    text = f"{_called(signal, role)} holds {_samples(count)} without a number, left out."
    first = float(signal.time_s[int(np.argmin(number))])
    said = Finding("not-a-number", "note", text, run, first, first)
    return CheckedSignal(signal, keep, bad, checked.every, (said, *checked.findings))


def check_signals(run: Run, driven: str = "rear") -> tuple[Finding, ...]:
    """Everything that is wrong with a run's channels; see `clean_speeds`."""
    return clean_speeds(run, driven)[1]


def clean_speeds(run: Run, driven: str = "rear") -> tuple[Run, tuple[Finding, ...]]:
    """The run with the faulty samples of its speeds left out, and everything that is wrong with its channels: one
    finding per kind and channel, with its first time.

    driven: the driven wheels, whose slip under power is no fault.
    """
    findings: list[Finding] = []
    speeds: dict[str, Signal] = {}
    cleaned: list[Recording] = []
    moving = _moving(run)
    for recording in run.recordings:
        signals = dict(recording.signals)
        for role, signal in recording.signals.items():
            checked = check_signal(signal, role, run.number, None if is_speed(role) else moving)
            findings.extend(_said_here(checked, role))
            findings.extend(_dropouts(recording, role, checked, run.number))
            if is_speed(role):
                signals[role] = checked.clean
                # what a wheel lost is for the comparison to say, so only repeats are taken out before it
                speeds.setdefault(role, _without_repeats(checked))
        findings.extend(_place_frozen(recording, run.number, moving))
        cleaned.append(replace(recording, signals=signals))
    said = (*findings, *compare_speeds(run.number, speeds, driven))
    return replace(run, recordings=tuple(cleaned)), said


def _said_here(checked: CheckedSignal, role: str) -> tuple[Finding, ...]:
    """A suspension sensor that is stuck or at its stop is said once for the day, by `check_suspension`."""
    if not is_suspension(role):
        return checked.findings
    return tuple(finding for finding in checked.findings if finding.code not in ("flat-lined", "clipped"))


def _without_repeats(checked: CheckedSignal) -> Signal:
    fresh = checked.keep | checked.bad
    return Signal(checked.signal.time_s[fresh], checked.signal.values[fresh], checked.signal.name)


def _moving(run: Run) -> Intervals | None:
    """When the car moves, by any of its speeds."""
    found = [
        moving_of(signal)
        for recording in run.recordings
        for role, signal in recording.signals.items()
        if is_speed(role) and len(signal.time_s) >= 8
    ]
    return max(found, key=lambda each: float(np.sum(each[:, 1] - each[:, 0]))) if found else None


def _renewal_finding(signal: Signal, role: str, run: int | None, every: int) -> list[Finding]:
    if every < 2:
        return []
    period = every * float(np.median(np.diff(signal.time_s)))
    text = (
        f"{_called(signal, role)} repeats every value {every} times: its sensor gives a new one every "
        f"{period:.3g} s. Only new values are used."
    )
    return [Finding("repeated-values", "check" if period > 1.0 else "note", text, run)]


def _mark_finding(name: str, run: int | None, code: str, time_s: FloatArray, mark: BoolArray) -> list[Finding]:
    runs = runs_of(mark)
    if len(runs) == 0:
        return []
    spans = time_s[runs[:, 1]] - time_s[runs[:, 0]]
    worst = int(np.argmax(spans))
    count = int(np.count_nonzero(mark))
    start, end = float(time_s[runs[0, 0]]), float(time_s[runs[0, 1]])
    texts = {
        "spikes": f"{name} has {_samples(count)} standing out as single spikes, the first at {start:.2f} s",
        "flat-lined": f"{name} stays at one value while the car moves, {_times(len(runs))}, longest "
        f"{spans[worst]:.1f} s at {time_s[runs[worst, 0]]:.1f} s",
        "clipped": f"{name} sits on the end of its range for {_samples(count)}, first at {start:.2f} s",
        "sensor-lost": f"{name} jumps away and back {_times(len(runs))}, first at {start:.2f} s",
    }
    serious = code in ("clipped", "flat-lined") or count > 0.01 * len(mark)
    text = texts[code] + "; these samples are left out."
    return [Finding(code, "check" if serious else "note", text, run, start, end)]


def _dropouts(recording: Recording, role: str, checked: CheckedSignal, run: int) -> list[Finding]:
    """Holes of one channel in which the recording itself went on."""
    time = checked.signal.time_s
    if checks_of(role) is None or len(time) < 8:
        return []
    step = np.diff(time)
    limit = max(DROPOUT_S, DROPOUT_STEPS * float(np.median(step)))
    wide = np.flatnonzero(step > limit)
    others = [s.time_s for r, s in recording.signals.items() if r != role and len(s.time_s) > 8]
    wide = np.array([i for i in wide if _goes_on(others, time[i], time[i + 1])], dtype=np.int64)
    if len(wide) == 0:
        return []
    longest = wide[int(np.argmax(step[wide]))]
    text = (
        f"{_called(checked.signal, role)} drops out {_times(len(wide))}, longest {step[longest]:.1f} s at "
        f"{time[longest]:.1f} s."
    )
    return [Finding("dropouts", "note", text, run, float(time[wide[0]]), float(time[wide[0] + 1]))]


def _goes_on(others: Sequence[FloatArray], start_s: float, end_s: float) -> bool:
    return any(np.searchsorted(t, end_s) - np.searchsorted(t, start_s, side="right") > 2 for t in others)


def _place_frozen(recording: Recording, run: int, moving: Intervals | None) -> list[Finding]:
    """Latitude and longitude that stay where they are while the car moves."""
    latitude, longitude = recording.signals.get("latitude"), recording.signals.get("longitude")
    if latitude is None or longitude is None or moving is None or len(latitude.time_s) < 8:
        return []
    place = latitude.values + np.interp(latitude.time_s, longitude.time_s, longitude.values)
    still = frozen(latitude.time_s, place, moving, 0.0)
    if not still.any():
        return []
    runs = runs_of(still)
    start, end = float(latitude.time_s[runs[0, 0]]), float(latitude.time_s[runs[0, 1]])
    often = _times(len(runs))
    text = f"Latitude and longitude stand still while the car moves, {often}, first at {start:.1f} s."
    return [Finding("gps-frozen", "check", text, run, start, end)]


def _called(signal: Signal, role: str) -> str:
    return f"'{signal.name}' ({role})" if signal.name and signal.name != role else f"'{role}'"


def _samples(count: int) -> str:
    return f"{count:,} sample{'' if count == 1 else 's'}"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"
