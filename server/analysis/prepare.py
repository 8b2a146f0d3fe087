"""A day made ready for the fit: clocks of a run's recordings matched, faulty samples left out and said,
the straight's heading found where nobody gave it."""

from __future__ import annotations

from dataclasses import replace

from server.analysis.clock_offsets import align_recordings
from server.analysis.direction import straight_heading
from server.analysis.signal_checks import check_signals, clean_signal
from server.analysis.signal_roles import is_speed
from server.testday.values import Day, Finding, Recording, Run


def prepare_day(day: Day) -> tuple[Day, list[Finding]]:
    """The day with matched clocks, clean speeds and a heading; and what was noticed on the way."""
    findings: list[Finding] = []
    runs = []
    for run in day.runs:
        matched, said = align_recordings(run, day.car)
        findings += [replace(f, run=run.number) for r in run.recordings for f in r.findings]
        findings += [*said, *check_signals(matched, day.car.driven)]
        runs.append(_clean(matched))
    heading = day.venue.heading_rad
    if heading is None:
        heading = straight_heading(runs, day.car)
    ready = replace(day, runs=tuple(runs), venue=replace(day.venue, heading_rad=heading))
    return ready, list(dict.fromkeys(findings))


def _clean(run: Run) -> Run:
    """The run with the faulty samples of its speeds left out; the findings are `check_signals`'."""
    return replace(run, recordings=tuple(_clean_recording(r, run.number) for r in run.recordings))


def _clean_recording(recording: Recording, run: int) -> Recording:
    signals = {
        role: clean_signal(signal, role, run)[0] if is_speed(role) else signal
        for role, signal in recording.signals.items()
    }
    return replace(recording, signals=signals)
