"""A day made ready for the fit: clocks of a run's recordings matched, faulty samples left out and said,
the straight's heading found where nobody gave it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from server.analysis.clock_offsets import align_recordings
from server.analysis.direction import straight_heading
from server.analysis.signal_checks import clean_speeds
from server.analysis.signal_roles import is_speed
from server.testday.values import Day, Finding, Recording, Run, Signal


def prepare_day(day: Day) -> tuple[Day, list[Finding]]:
    """The day with matched clocks, clean speeds and a heading; and what was noticed on the way."""
    findings: list[Finding] = []
    runs = []
    for run in day.runs:
        matched, said = align_recordings(_joined(run), day.car)
        findings += [replace(f, run=run.number) for r in run.recordings for f in r.findings]
        clean, about_channels = clean_speeds(matched, day.car.driven)
        findings += [*said, *about_channels]
        runs.append(clean)
    heading = day.venue.heading_rad
    if heading is None:
        heading = straight_heading(runs, day.car)
        if heading is not None and not any(run.direction for run in runs):
            findings.append(_assumed(heading))
    ready = replace(day, runs=tuple(runs), venue=replace(day.venue, heading_rad=heading))
    return ready, list(dict.fromkeys(findings))


def _assumed(heading_rad: float) -> Finding:
    text = (
        f"The straight's heading is not given and no run says its direction: the way of the first fast stretch "
        f"({math.degrees(heading_rad) % 360.0:.0f}°) is taken as 'out'. A grade or wind given for the other way "
        "would be taken with the wrong sign."
    )
    return Finding("direction-assumed", "check", text)


def _joined(run: Run) -> Run:
    """The run with logs that follow each other in time joined: a log split in two is one recording."""
    kept: list[Recording] = []
    for recording in sorted(run.recordings, key=_start):
        before = next((r for r in kept if _follows(recording, r)), None)
        if before is None:
            kept.append(recording)
        else:
            kept[kept.index(before)] = _one(before, recording)
    return run if len(kept) == len(run.recordings) else replace(run, recordings=tuple(kept))


def _start(recording: Recording) -> float:
    return min((float(s.time_s[0]) for s in recording.signals.values() if len(s.time_s)), default=0.0)


def _follows(later: Recording, earlier: Recording) -> bool:
    """Whether a recording holds the same speeds as another and begins after that one's end."""
    speeds = [role for role in later.signals if is_speed(role) and role in earlier.signals]
    return bool(speeds) and all(
        float(later.signals[role].time_s[0]) > float(earlier.signals[role].time_s[-1])
        for role in speeds
        if len(later.signals[role].time_s) and len(earlier.signals[role].time_s)
    )


def _one(before: Recording, after: Recording) -> Recording:
    signals = dict(before.signals)
    for role, signal in after.signals.items():
        first = signals.get(role)
        if first is None:
            signals[role] = signal
        elif len(signal.time_s) and (not len(first.time_s) or signal.time_s[0] > first.time_s[-1]):
            time, values = np.append(first.time_s, signal.time_s), np.append(first.values, signal.values)
            signals[role] = Signal(time, values, first.name)
    return replace(before, file=f"{before.file}, {after.file}", signals=signals)
