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


def edited(
    passes: Sequence[Pass], run: Run, series: SpeedSeries, options: PassOptions
) -> tuple[list[Pass], list[Finding]]:
    """Apply the run's edits in their order; a later edit of the same stretch wins."""
    kept = list(passes)
    findings: list[Finding] = []
    for edit in run.passes:
        touched = [p for p in kept if _touches(p, edit)]
        if edit.used:
            kept = [p for p in kept if p not in touched]
            kept.append(_by_hand(edit, touched, run, series, options))
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
    return Pass(run.number, run.setup, kind, 0, start, end, True, reason, inferred, low, high)


def _kind(ends_mps: np.ndarray, length_s: float, options: PassOptions) -> PassKind:
    if float(np.max(ends_mps)) < options.zero_speed_mps:
        return "zero"
    slows = float(ends_mps[0] - ends_mps[1]) / max(length_s, 1e-6)
    return "coast-down" if slows > options.steady_mps2 else "constant-speed"
