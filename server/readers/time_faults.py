"""Time stamps that go wrong: doubled, backward, clock steps, gaps. Found and left out, never repaired."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.errors import LogError
from server.testday.values import Finding, FloatArray

_MAX_PIECES = 1500
_GAP_STEPS = 8.0
_GAP_FLOOR_S = 0.5
_SHOWN_GAPS = 3
_SHORT_PIECE = 5


@dataclass(frozen=True, slots=True)
class Gap:
    """No sample between start_s and end_s."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, eq=False)
class TimeCheck:
    """keep: which samples can be used, shape (n,), None for all. Counts of what was left out, and the gaps.

    backward: samples off the rising order. step_s: time at which the clock stepped back for good, or None.
    """

    keep: NDArray[np.bool_] | None
    doubled: int = 0
    backward: int = 0
    step_s: float | None = None
    gaps: tuple[Gap, ...] = ()
    step_of_s: float = 0.0


def check_times(name: str, time_s: FloatArray) -> TimeCheck:
    """Check one channel's (or the whole log's) times.

    Raises LogError where the times jump to and fro so often that they order nothing.
    """
    if len(time_s) < 2:
        return TimeCheck(None)
    steps = np.diff(time_s)
    if (steps > 0).all():
        return TimeCheck(None, gaps=_gaps(time_s, steps))
    keep = np.ones(len(time_s), dtype=bool)
    keep[1:] = steps != 0
    doubled = int(np.count_nonzero(~keep))
    rising, step = _rising(name, time_s[keep])
    backward = int(np.count_nonzero(~rising))
    keep[np.flatnonzero(keep)[~rising]] = False
    kept = time_s[keep]
    return TimeCheck(keep, doubled, backward, step[0], _gaps(kept, np.diff(kept)), step[1])


def time_findings(name: str, check: TimeCheck, n: int) -> list[Finding]:
    """Say what was left out of n samples, one sentence a kind."""
    findings = []
    if check.doubled:
        text = (
            f"{name}: {check.doubled:,} of {n:,} samples carry the time of the one before and are left out."
        )
        if check.doubled > 0.5 * n:
            text += " The time column is coarser than the samples; another one would keep them all."
        findings.append(Finding("time-doubled", "check" if check.doubled > 0.01 * n else "note", text))
    if check.step_s is not None:
        text = (
            f"{name}: the clock steps back by {check.step_of_s:.3g} s at {check.step_s:.2f} s; "
            f"{check.backward:,} samples that repeat times are left out; do not trust a pass across the step."
        )
        findings.append(Finding("clock-step", "check", text, start_s=check.step_s, end_s=check.step_s))
    elif check.backward:
        text = f"{name}: {check.backward:,} of {n:,} samples carry times out of order and are left out."
        findings.append(Finding("time-backward", "check", text))
    return findings + _gap_findings(name, check.gaps)


def _gap_findings(name: str, gaps: tuple[Gap, ...]) -> list[Finding]:
    longest = sorted(gaps, key=lambda gap: gap.start_s - gap.end_s)[:_SHOWN_GAPS]
    findings = [
        Finding(
            "time-gap",
            "note",
            f"{name}: no samples between {gap.start_s:.2f} s and {gap.end_s:.2f} s.",
            start_s=gap.start_s,
            end_s=gap.end_s,
        )
        for gap in sorted(longest, key=lambda gap: gap.start_s)
    ]
    if len(gaps) > _SHOWN_GAPS:
        text = f"{name}: {len(gaps) - _SHOWN_GAPS:,} more, shorter gaps in the samples."
        findings.append(Finding("time-gap", "note", text))
    return findings


def _gaps(time_s: FloatArray, steps: FloatArray) -> tuple[Gap, ...]:
    if not len(steps):
        return ()
    limit = max(_GAP_FLOOR_S, _GAP_STEPS * float(np.median(steps)))
    return tuple(Gap(float(time_s[i]), float(time_s[i + 1])) for i in np.flatnonzero(steps > limit))


def _rising(name: str, time_s: FloatArray) -> tuple[NDArray[np.bool_], tuple[float | None, float]]:
    """The largest set of samples in rising order, made of pieces between falls and wide jumps.

    Pieces may lose the samples that lie before the end of the piece they follow.
    """
    steps = np.diff(time_s)
    positive = steps[steps > 0]
    jump = max(1.0, 50.0 * float(np.median(positive))) if len(positive) else np.inf
    starts = np.concatenate([[0], np.flatnonzero((steps <= 0) | (steps > jump)) + 1])
    if len(starts) > _MAX_PIECES:
        raise LogError(
            f"{name}: the times go back or jump {len(starts) - 1:,} times; they are no log in order of time."
        )
    stops = np.concatenate([starts[1:], [len(time_s)]])
    keep = np.zeros(len(time_s), dtype=bool)
    end = -np.inf
    for piece in _best_chain(time_s, starts, stops):
        low, high = int(starts[piece]), int(stops[piece])
        first = low + int(np.searchsorted(time_s[low:high], end, side="right"))
        keep[first:high] = True
        end = float(time_s[high - 1])
    return keep, _clock_step(time_s, starts, stops, keep)


def _clock_step(
    time_s: FloatArray, starts: NDArray[np.intp], stops: NDArray[np.intp], keep: NDArray[np.bool_]
) -> tuple[float | None, float]:
    """The first fall beside which more than a few samples were lost: the time before it, and its depth."""
    lost = np.add.reduceat((~keep).astype(np.intp), starts)
    for piece in range(1, len(starts)):
        before = float(time_s[stops[piece - 1] - 1])
        back = before - float(time_s[starts[piece]])
        if back > 0.0 and max(lost[piece - 1], lost[piece]) > _SHORT_PIECE:
            return before, back
    return None, 0.0


def _best_chain(time_s: FloatArray, starts: NDArray[np.intp], stops: NDArray[np.intp]) -> list[int]:
    """Dynamic programme over the pieces: the chain that keeps most samples."""
    ends = time_s[stops - 1]
    total = np.zeros(len(starts))
    came = np.full(len(starts), -1)
    for piece in range(len(starts)):
        times = time_s[starts[piece] : stops[piece]]
        best, origin = float(len(times)), -1
        before = np.flatnonzero(ends[:piece] < times[-1])
        if len(before):
            left = len(times) - np.searchsorted(times, ends[before], side="right")
            sums = total[before] + left
            top = int(np.argmax(sums))
            if sums[top] > best:
                best, origin = float(sums[top]), int(before[top])
        total[piece], came[piece] = best, origin
    chain = [int(np.argmax(total))]
    while came[chain[-1]] >= 0:
        chain.append(int(came[chain[-1]]))
    return chain[::-1]
