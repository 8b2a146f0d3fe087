"""Finds the passes of a run: static zeros, coast-downs, constant-speed passes, and why the rest is none."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from server.analysis.candidates import drive_bounds
from server.analysis.coast_downs import coast_downs
from server.analysis.coast_edges import Stretch
from server.analysis.consistency import consistent
from server.analysis.direction import with_directions
from server.analysis.intervals import Intervals, intervals, join, lasting, without
from server.analysis.pass_edits import edited
from server.analysis.pass_options import PassOptions
from server.analysis.result import Pass, PassKind
from server.analysis.scene import Scene, set_scene
from server.analysis.speed_pick import best_signals, pick_speed
from server.analysis.steady import constant_speed, standing
from server.analysis.suspension_sensors import is_suspension
from server.analysis.typed_passes import typed_passes
from server.testday.values import Car, Finding, Run

FEWEST_SAMPLES = 8
BRAKED_WORDS = ("engine braking", "regeneration")


def find_passes(
    run: Run, car: Car, heading_rad: float | None = None, options: PassOptions | None = None
) -> tuple[tuple[Pass, ...], tuple[Finding, ...]]:
    """All passes of a run in order of time, used or turned down with a reason, and what was noticed.

    run: with its recordings; heading_rad: true heading of the straight [rad] or None (see
    `direction.straight_heading` for a day without one); options: thresholds.
    """
    options = options or PassOptions()
    source = pick_speed(run, car)
    if source is None and any(recording.typed is not None for recording in run.recordings):
        return typed_passes(run)
    if source is None or len(source.signal.time_s) < FEWEST_SAMPLES:
        text = f"Run {run.number} has no usable speed, so no pass can be found in it."
        return (), (Finding("no-speed", "stop", text, run.number),)
    scene = set_scene(run, car, source, options)
    coasts, stretches = coast_downs(scene)
    doubts: list[Finding] = []
    if scene.inferred:
        coasts, doubts = consistent(coasts, scene.series, run.number)
    passes = [*_zeros(scene), *coasts, *_constant(scene, coasts, stretches)]
    passes, about_edits = edited(sorted(passes, key=lambda p: p.start_s), run, scene.series, options)
    directed = with_directions(passes, run, best_signals(run), scene.series, heading_rad)
    said = [*source.findings, *scene.driver.findings, *_about_coasting(scene, directed.passes), *doubts]
    return directed.passes, (*said, *about_edits, *directed.findings)


def _zeros(scene: Scene) -> list[Pass]:
    return [_plain(scene, "zero", a, b) for a, b in standing(scene.series, scene.options).tolist()]


def _constant(scene: Scene, coasts: Sequence[Pass], stretches: Sequence[Stretch]) -> list[Pass]:
    """Constant-speed passes: neither coasting nor braking, on the straight, the speed known."""
    coasting = [(p.start_s, p.end_s) for p in coasts if p.used]
    if scene.driver.drive_seen:
        coasting += [(s.start_s, s.end_s) for s in stretches]
    braking = [bound.when for bound in drive_bounds(scene.driver) if bound.ends_by == "brake"]
    barred = join(intervals(coasting), scene.turning, _widened(scene.series.holes), *braking)
    steady = lasting(without(constant_speed(scene.series, scene.options), barred), scene.options.steady_min_s)
    return [_plain(scene, "constant-speed", a, b) for a, b in steady.tolist()]


def _widened(holes: Intervals) -> Intervals:
    return np.asarray(holes + np.array([-0.5, 0.5])) if len(holes) else holes


def _plain(scene: Scene, kind: PassKind, start_s: float, end_s: float) -> Pass:
    speed = scene.series.between(start_s, end_s)[1]
    low, high = (float(np.min(speed)), float(np.max(speed))) if len(speed) else (0.0, 0.0)
    run = scene.run
    return Pass(run.number, run.setup, kind, 0, start_s, end_s, True, low_mps=low, high_mps=high)


def _about_coasting(scene: Scene, passes: Sequence[Pass]) -> list[Finding]:
    coasts = [p for p in passes if p.kind == "coast-down"]
    used = [p for p in coasts if p.used]
    findings = []
    if any(p.coasting_inferred for p in used):
        findings.append(_inferred(scene))
    if used and not scene.driveline_told:
        text = (
            f"Nothing tells that the driveline was free in run {scene.run.number}; its passes are judged by "
            "their resistance alone. Write how the car coasted on the run sheet."
        )
        findings.append(Finding("coasting-unconfirmed", "note", text, scene.run.number))
    braked = [p for p in coasts if not p.used and any(word in p.reason for word in BRAKED_WORDS)]
    if braked:
        text = (
            f"{len(braked)} of {len(coasts)} stretches without throttle in run {scene.run.number} were "
            "turned down because the engine, the motor or a brake slowed the car; coast in neutral, clutch "
            "open or inverter off."
        )
        findings.append(Finding("engine-braking", "check", text, scene.run.number, braked[0].start_s))
    if not used and not _tells_loads(scene.run, passes):
        findings.append(_none_used(scene.run, coasts))
    return findings


def _tells_loads(run: Run, passes: Sequence[Pass]) -> bool:
    """Whether a run without coast-downs still tells axle loads: held speeds, and sensors at the suspension."""
    logged = any(is_suspension(role) for recording in run.recordings for role in recording.signals)
    return logged and any(p.used and p.kind == "constant-speed" for p in passes)


def _inferred(scene: Scene) -> Finding:
    missing = []
    if not scene.driver.drive_seen:
        missing.append("throttle")
    if scene.driver.brake is None:
        missing.append("brake")
    text = (
        f"Run {scene.run.number} has no {' or '.join(missing)} channel that tells: coasting is taken from "
        "the speed alone, and its ends are left out generously."
    )
    return Finding("coasting-inferred", "note", text, scene.run.number)


def _none_used(run: Run, coasts: Sequence[Pass]) -> Finding:
    text = f"Run {run.number} holds no usable coast-down"
    if coasts:
        reason, count = Counter(p.reason for p in coasts).most_common(1)[0]
        text += f": {len(coasts)} turned down, most often ({count}) because: {reason}"
    return Finding("no-pass", "check", text + ".", run.number)
