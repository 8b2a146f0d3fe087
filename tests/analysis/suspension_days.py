"""Hostile days made ready for the checks of suspension sensors, and faults that the simulator does not make."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from server.analysis.passes import find_passes
from server.analysis.prepare import prepare_day
from server.analysis.result import Pass
from server.analysis.suspension_checks import check_suspension
from server.testday.values import Day, Finding, Run, Signal
from tests.simulator import HostileDay, Scenario, draw_day

Signals = Mapping[str, Signal]
UNPROVED = "motion-ratio-unproved"


def hostile(seed: int, **controls: Any) -> HostileDay:
    return draw_day(seed, Scenario(dampers=True, **controls))


def checked(day: Day) -> tuple[dict[int, frozenset[str]], list[Finding]]:
    """What must not be used, and what was noticed, apart from the note that many a day cannot tell motion ratios."""
    out, findings = all_checked(day)
    return out, [finding for finding in findings if finding.code != UNPROVED]


def all_checked(day: Day) -> tuple[dict[int, frozenset[str]], list[Finding]]:
    ready, passes = with_passes(day)
    return check_suspension(ready, passes)


def with_passes(day: Day) -> tuple[Day, list[Pass]]:
    ready, _ = prepare_day(day)
    passes: list[Pass] = []
    for run in ready.runs:
        passes += find_passes(run, ready.car, ready.venue.heading_rad)[0]
    return ready, passes


def with_signals(day: Day, change: Callable[[Run, Signals], Signals], only: int | None = None) -> Day:
    """The day with the signals of its runs' first recordings changed, of all runs or of one."""
    runs = []
    for run in day.runs:
        first, *others = run.recordings
        if only is None or run.number == only:
            first = replace(first, signals=dict(change(run, first.signals)))
        runs.append(replace(run, recordings=(first, *others)))
    return replace(day, runs=tuple(runs))


def valued(signal: Signal, values: np.ndarray) -> Signal:
    return replace(signal, values=values)


def codes(findings: list[Finding]) -> list[str]:
    return sorted(finding.code for finding in findings)
