"""Hand-typed coast-downs as passes: each is one by itself, its direction given; nothing has to be found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from server.analysis.result import Pass
from server.testday.values import Finding, Run, TypedCoastDown, TypedTimes

SIGN = {"out": 1, "back": -1, None: 0}
IN_GEAR = "in gear: engine braking (run sheet)"


def typed_passes(run: Run) -> tuple[tuple[Pass, ...], tuple[Finding, ...]]:
    """The passes of a run whose coast-downs were typed by hand; none where nothing was typed.

    The run sheet's direction stands for a coast-down that has none. An edit can drop a pass, not move its ends.
    """
    passes = [_pass(run, typed, one) for typed in _typed(run) for one in typed.coast_downs]
    findings: list[Finding] = []
    for edit in run.passes:
        met = [k for k, p in enumerate(passes) if min(p.end_s, edit.end_s) - max(p.start_s, edit.start_s) > 0.0]
        for k in met:
            passes[k] = replace(
                passes[k], used=edit.used, reason=edit.reason or ("" if edit.used else "dropped by hand")
            )
        if not met:
            text = f"The edit of {edit.start_s:.1f} to {edit.end_s:.1f} s meets no pass and changes nothing."
            findings.append(Finding("edit-idle", "note", text, run.number, edit.start_s, edit.end_s))
    unknown = sum(p.direction == 0 for p in passes)
    if unknown:
        text = (
            f"Run {run.number}: {unknown} of {len(passes)} typed coast-downs have no direction; write out or back in a "
            "column 'direction', or give the run's direction."
        )
        findings.append(Finding("direction-unknown", "check", text, run.number))
    return tuple(passes), tuple(findings)


def typed_marks(run: Run, found: Pass) -> tuple[TypedTimes, TypedCoastDown] | None:
    """The typed coast-down that a pass is; None where the pass comes from a log."""
    for typed in _typed(run):
        for one in typed.coast_downs:
            if (one.time_s[0], one.time_s[-1]) == (found.start_s, found.end_s):
                return typed, one
    return None


def direction_of(run: Run, one: TypedCoastDown) -> int:
    """+1 out, −1 back, 0 unknown; the run sheet's word where the coast-down has none."""
    return SIGN[one.direction or run.direction]


def _typed(run: Run) -> list[TypedTimes]:
    return [recording.typed for recording in run.recordings if recording.typed is not None]


def _pass(run: Run, typed: TypedTimes, one: TypedCoastDown) -> Pass:
    true = (one.speed_mps - typed.offset_mps.value) / typed.gain.value
    in_gear = run.coasting == "in-gear"
    return Pass(
        run=run.number,
        setup=run.setup,
        kind="coast-down",
        direction=direction_of(run, one),
        start_s=float(one.time_s[0]),
        end_s=float(one.time_s[-1]),
        used=not in_gear,
        reason=IN_GEAR if in_gear else "",
        coasting_inferred=False,
        low_mps=float(np.min(true)),
        high_mps=float(np.max(true)),
    )
