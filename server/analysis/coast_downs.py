"""Coast-down passes of a run: candidates cut by turns, gears and holes, trimmed, judged in plain words."""

from __future__ import annotations

import numpy as np

from server.analysis.candidates import Bound, above_speed, cut_by, trimmed, undriven
from server.analysis.coast_edges import Stretch
from server.analysis.intervals import Intervals, lasting, meet
from server.analysis.resistance import deceleration_of, resistance_reason
from server.analysis.result import TOO_SLOW, Pass
from server.analysis.scene import Scene

FEWEST_SAMPLES = 4
IN_GEAR = "in gear: engine braking"
END_WORDS = {
    "throttle": "throttle opened at {:.1f} s",
    "brake": "brake pressed at {:.1f} s",
    "driveline": "driveline engaged at {:.1f} s",
    "turn": "turn from {:.1f} s",
    "hole": "speed lost at {:.1f} s",
    "record": "the log ends at {:.1f} s",
    "rest": "at rest at {:.1f} s",
    "low speed": "too slow from {:.1f} s",
}


def coast_downs(scene: Scene) -> tuple[list[Pass], list[Stretch]]:
    """All candidates, used or turned down, and the stretches without drive and brake that they come from."""
    stretches = undriven(scene.series, scene.driver, scene.band)
    passes = [one for stretch in stretches for one in _passes_of(stretch, scene)]
    return passes, stretches


def _passes_of(stretch: Stretch, scene: Scene) -> list[Pass]:
    """Passes from one stretch: its parts judged, and what of it lies in a turn or in gear refused."""
    least = scene.options.report_length_s
    bounds = [
        Bound(scene.turning, "turn", "turn"),
        Bound(scene.engaged, "driveline", "driveline"),
        Bound(scene.series.holes, "hole", "hole"),
    ]
    parts = [part for part in cut_by([stretch], bounds) if part.end_s - part.start_s >= least]
    passes = [one for part in parts if (one := _judged(part, scene)) is not None]
    whole = np.array([[stretch.start_s, stretch.end_s]])
    passes += _refused(meet(whole, scene.engaged), _braked_by(scene), scene)
    return passes + _refused(meet(whole, scene.turning), "a turn", scene)


def _braked_by(scene: Scene) -> str:
    if scene.driver.regenerating is not None and scene.driver.engaged is None:
        return "the motor brakes: regeneration"
    if scene.run.coasting not in ("unknown", "in-gear"):
        return f"{IN_GEAR}, though the run sheet says {scene.run.coasting}"
    return IN_GEAR


def _refused(parts: Intervals, reason: str, scene: Scene) -> list[Pass]:
    long = lasting(parts, scene.options.report_length_s)
    return [_pass(Stretch(float(a), float(b), "record", "record"), scene, reason) for a, b in long]


def _judged(part: Stretch, scene: Scene) -> Pass | None:
    """The pass that a part gives; None where it is slow all along and not worth a line."""
    options = scene.options
    fast = above_speed(part, scene.series, options.min_speed_mps)
    if fast is None:
        slow = f"{TOO_SLOW} {options.min_speed_mps:.1f} m/s"
        return _pass(part, scene, slow) if part.end_s - part.start_s >= options.min_length_s else None
    inner = trimmed(fast, scene.series, options)
    reason = _why_not(inner, scene)
    if reason and inner.end_s <= inner.start_s:
        inner = fast
    return _pass(inner, scene, reason) if fast.end_s - fast.start_s >= options.report_length_s else None


def _pass(stretch: Stretch, scene: Scene, reason: str) -> Pass:
    _, speed = scene.series.between(stretch.start_s, stretch.end_s)
    ends = scene.series.at(np.array([stretch.start_s, stretch.end_s]))
    speed = np.concatenate([ends, speed])
    return Pass(
        run=scene.run.number,
        setup=scene.run.setup,
        kind="coast-down",
        direction=0,
        start_s=stretch.start_s,
        end_s=stretch.end_s,
        used=not reason,
        reason=reason,
        coasting_inferred=scene.inferred,
        low_mps=float(np.min(speed)),
        high_mps=float(np.max(speed)),
    )


def _why_not(stretch: Stretch, scene: Scene) -> str:
    """Why a trimmed candidate is no coast-down; empty where it is one."""
    options = scene.options
    length = stretch.end_s - stretch.start_s
    if scene.run.coasting == "in-gear":
        return f"{IN_GEAR} (run sheet)"
    end = END_WORDS.get(stretch.end_cause, "").format(stretch.end_s)
    if length < options.min_length_s:
        return f"only {max(length, 0.0):.1f} s long{', ' + end if end else ''}"
    time, speed = scene.series.between(stretch.start_s, stretch.end_s)
    if len(time) < FEWEST_SAMPLES:
        return f"only {len(time)} samples of speed"
    lost = float(np.mean(speed[:2]) - np.mean(speed[-2:]))
    if lost < options.min_span_mps:
        return f"loses only {max(lost, 0.0):.1f} m/s"
    found = deceleration_of(time, speed, scene.band)
    return resistance_reason(found, scene.band, float(np.mean(speed)), scene.driveline_told)
