"""A person's word on the passes of a run: edges moved, a pass dropped with a reason, or restored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.analysis.pass_options import PassOptions
from server.analysis.result import Pass, PassKind
from server.analysis.speed_series import SpeedSeries
from server.testday.values import Finding, PassEdit, Run

TOUCH_S = 0.5
TOUCH_SHARE = 0.1
BY_HAND = "edges set by hand"
CLIMB_MPS, CLIMB_SHARE, CLIMB_NOISE = 1.0, 0.04, 4.0  # what a coasting car may climb: common practice, no source


def edited(
    passes: Sequence[Pass], run: Run, series: SpeedSeries, options: PassOptions
) -> tuple[list[Pass], list[Finding]]:
    """Apply the run's edits in their order; a later edit of the same stretch wins."""
    kept = list(passes)
    findings: list[Finding] = []
    for edit in run.passes:
        touched = [p for p in kept if _touches(p, edit)]
        if edit.used:
            made = _by_hand(edit, touched, run, series, options)
            if not made.used:
                findings.append(_refused(made, run))
            kept = [*(p for p in kept if p not in touched), made]
        elif touched:
            reason = edit.reason or "dropped by hand"
            kept = [replace(p, used=False, reason=reason) if p in touched else p for p in kept]
        else:
            text = f"The edit of {edit.start_s:.1f} to {edit.end_s:.1f} s meets no pass and changes nothing."
            findings.append(Finding("edit-idle", "note", text, run.number, edit.start_s, edit.end_s))
    return sorted(kept, key=lambda p: p.start_s), findings


def _touches(one: Pass, edit: PassEdit) -> bool:
    """Whether pass and edit share half a second, or a tenth of the shorter of both."""
    shared = min(one.end_s, edit.end_s) - max(one.start_s, edit.start_s)
    shorter = min(one.end_s - one.start_s, edit.end_s - edit.start_s)
    return shared > 0.0 and shared >= min(TOUCH_S, TOUCH_SHARE * shorter)


def _by_hand(edit: PassEdit, touched: Sequence[Pass], run: Run, series: SpeedSeries, options: PassOptions) -> Pass:
    start, end = edit.start_s, edit.end_s
    ends = series.at(np.array([start, end]))
    speed = np.concatenate([ends, series.between(start, end)[1]])
    likest = max(touched, key=lambda p: min(p.end_s, end) - max(p.start_s, start), default=None)
    kind = likest.kind if likest is not None else _kind(ends, end - start, options)
    reason = f"{BY_HAND}: {edit.reason}" if edit.reason else BY_HAND
    inferred = likest is not None and likest.coasting_inferred
    low, high = float(np.min(speed)), float(np.max(speed))
    until = _driven_until(series, start, end, high) if kind == "coast-down" else None
    if until is not None:
        reason = f"{BY_HAND}, but the car speeds up in it until {until:.1f} s"
    return Pass(run.number, run.setup, kind, 0, start, end, until is None, reason, inferred, low, high)


def _driven_until(series: SpeedSeries, start_s: float, end_s: float, high_mps: float) -> float | None:
    """When the car last stops speeding up within a stretch that is to be a coast-down [s]; None where it never does.

    A speed that climbs above what it had fallen to before by more than gusts or a slope give a coasting car.
    """
    inside = (series.block_s >= start_s) & (series.block_s <= end_s)
    time, speed = series.block_s[inside], series.block_mps[inside]
    if len(speed) < 2:
        return None
    climbed = speed - np.minimum.accumulate(speed)
    highest = int(np.argmax(climbed))
    least = max(CLIMB_MPS, CLIMB_SHARE * high_mps) + CLIMB_NOISE * series.sigma_mps
    return float(time[highest]) if climbed[highest] > least else None


def _refused(made: Pass, run: Run) -> Finding:
    text = (
        f"The pass of run {run.number} that was set by hand, {made.start_s:.1f} to {made.end_s:.1f} s, is not used: "
        f"{made.reason.removeprefix(f'{BY_HAND}, but ')}. Move its start behind that."
    )
    return Finding("edit-not-coasting", "check", text, run.number, made.start_s, made.end_s)


def _kind(ends_mps: np.ndarray, length_s: float, options: PassOptions) -> PassKind:
    if float(np.max(ends_mps)) < options.zero_speed_mps:
        return "zero"
    slows = float(ends_mps[0] - ends_mps[1]) / max(length_s, 1e-6)
    return "coast-down" if slows > options.steady_mps2 else "constant-speed"
