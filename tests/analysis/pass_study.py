"""Runs drawn at random through the pass finder, counted against their truth."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from server.analysis.pass_options import PassOptions
from server.analysis.passes import find_passes
from server.analysis.result import Pass
from server.testday.values import Signal
from tests.analysis.driven_runs import (
    Driven,
    Stretch,
    draw_body,
    draw_script,
    drive,
    fine,
    made_car,
    made_run,
    satellite_speed,
    wheel_speed,
    with_dropouts,
    with_spikes,
)

SEEDS_FROM = 20_000


@dataclass
class Tally:
    """What came of a study; contamination: seconds of a used pass outside true coasting, then which run."""

    runs: int = 0
    true_passes: int = 0
    missed: list[tuple[object, ...]] = field(default_factory=list)
    found: int = 0
    false: list[tuple[object, ...]] = field(default_factory=list)
    contamination: list[tuple[object, ...]] = field(default_factory=list)
    start_late_s: list[float] = field(default_factory=list)
    end_early_s: list[float] = field(default_factory=list)

    def worst_s(self, slower_than_hz: float = 0.0, faster_than_hz: float = 1e9) -> float:
        picked = [c[0] for c in self.contamination if slower_than_hz <= c[2] < faster_than_hz]
        return max(picked, default=0.0)


def speed_only(seed: int) -> tuple[Driven, Signal, float, float, object]:
    """A run with one speed: satellite at 1 to 25 Hz with 0.05–0.3 m/s, or wheels at 10 to 200 Hz."""
    rng = np.random.default_rng(seed)
    body = draw_body(rng)
    truth = drive(draw_script(rng), body, rng)
    if rng.random() < 0.5:
        rate, size = float(rng.choice([1, 2, 5, 10, 20, 25])), rng.uniform(0.05, 0.3)
        signal = satellite_speed(truth, rng, rate, size)
    else:
        rate, size = float(rng.choice([10, 20, 50, 100, 200])), rng.uniform(0.01, 0.28)
        signal = wheel_speed(truth, rng, rate, size)
    if rate >= 5 and rng.random() < 0.4:
        signal = with_dropouts(signal, rng, int(rng.integers(1, 4)), 1.8)
    if rate >= 5 and rng.random() < 0.3:
        signal = with_spikes(signal, rng, int(rng.integers(1, 5)))
    return truth, signal, rate, size, body


def study_speed_only(runs: int, first: int = SEEDS_FROM) -> Tally:
    tally = Tally()
    for seed in range(first, first + runs):
        truth, signal, rate, size, body = speed_only(seed)
        run = made_run({signal.name: signal}, coasting="neutral", direction="out")
        found, _ = find_passes(run, made_car(body.mass_kg - 72.0))
        count(tally, truth, found, signal, (seed, rate, round(size, 2)))
    return tally


def study_with_channels(runs: int, first: int = SEEDS_FROM) -> Tally:
    """The same with throttle and brake at 20 to 100 Hz, the brake with noise, the throttle with an offset."""
    tally = Tally()
    for seed in range(first, first + runs):
        truth, signal, rate, size, body = speed_only(seed)
        rng = np.random.default_rng(seed + 10**6)
        run = made_run({signal.name: signal} | controls(truth, rng), coasting="clutch", direction="out")
        found, _ = find_passes(run, made_car(body.mass_kg - 72.0))
        count(tally, truth, found, signal, (seed, rate, round(size, 2)))
    return tally


def study_in_gear(runs: int, first: int = SEEDS_FROM) -> Tally:
    """Runs that only ever lift in gear, the speed alone logged at 5 Hz or more; every used pass is false."""
    tally = Tally()
    for seed in range(first, first + runs):
        rng = np.random.default_rng(seed)
        body = draw_body(rng)
        truth = drive(draw_script(rng, in_gear=True), body, rng)
        if seed % 2:
            signal = satellite_speed(truth, rng, float(rng.choice([5, 10, 20])), rng.uniform(0.05, 0.2))
        else:
            signal = wheel_speed(truth, rng, float(rng.choice([20, 50, 100])), rng.uniform(0.02, 0.2))
        passes, _ = find_passes(made_run({signal.name: signal}, direction="out"), made_car(body.mass_kg - 72.0))
        used = [p for p in passes if p.used and p.kind == "coast-down"]
        tally.runs += 1
        tally.true_passes += sum(s.kind == "lift_in_gear" for s in truth.stretches)
        tally.found += len(used)
        tally.false.extend((round(p.start_s, 1), round(p.end_s, 1), seed) for p in used)
    return tally


def controls(truth: Driven, rng: np.random.Generator) -> dict[str, Signal]:
    rate = float(rng.choice([20, 50, 100]))
    throttle = fine(truth, 0.02 + 0.95 * truth.throttle, rate, "throttle")
    pressure = fine(truth, 800.0 * truth.brake, rate, "brake")
    noisy = pressure.values + 8e3 * rng.standard_normal(len(pressure.values)) + 2e4
    return {"throttle": throttle, "brake_pressure": Signal(pressure.time_s, noisy, "brake")}


def count(tally: Tally, truth: Driven, found: tuple[Pass, ...], signal: Signal, about: tuple[object, ...]) -> None:
    used = [p for p in found if p.used and p.kind == "coast-down"]
    coasts = truth.coasts()
    tally.runs += 1
    for coast in coasts:
        fair = fair_part(truth, coast, signal)
        if fair is None:
            continue
        tally.true_passes += 1
        seen = sum(overlap(p, *fair) for p in used)
        if seen < 0.5 * (fair[1] - fair[0]):
            tally.missed.append((round(fair[0], 1), round(fair[1], 1), *about))
    for p in used:
        tally.found += 1
        inside = sum(overlap(p, c.start_s, c.end_s) for c in coasts)
        outside = p.end_s - p.start_s - inside
        if inside < 0.5 * (p.end_s - p.start_s):
            tally.false.append((round(p.start_s, 1), round(p.end_s, 1), *about))
        else:
            tally.contamination.append((round(outside, 3), *about))
            edges(tally, truth, coasts, p)


def edges(tally: Tally, truth: Driven, coasts: list[Stretch], p: Pass) -> None:
    """Distance of a pass's ends from where the options put them, where lift and brake bound them."""
    coast = max(coasts, key=lambda c: overlap(p, c.start_s, c.end_s))
    options = PassOptions()
    if abs(p.start_s - coast.start_s) < 6.0:
        tally.start_late_s.append(p.start_s - coast.start_s - options.trim_after_lift_s)
    end_speed = float(np.interp(coast.end_s, truth.time_s, truth.speed))
    if end_speed > options.min_speed_mps + 0.5 and abs(p.end_s - coast.end_s) < 6.0:
        trim = options.trim_before_end_s + options.trim_unseen_end_s
        tally.end_early_s.append(
            coast.end_s - trim - p.end_s if p.coasting_inferred else coast.end_s - options.trim_before_end_s - p.end_s
        )


def fair_part(truth: Driven, coast: Stretch, signal: Signal) -> tuple[float, float] | None:
    """What of a true coast-down a finder can be asked for; None where it is too short or slow to count."""
    options = PassOptions()
    fast = truth.time_s[
        (truth.time_s > coast.start_s) & (truth.time_s < coast.end_s) & (truth.speed > options.min_speed_mps)
    ]
    if len(fast) == 0:
        return None
    start, end = coast.start_s + 1.0, min(coast.end_s - 0.5, float(fast[-1]))
    samples = signal.time_s[(signal.time_s > start) & (signal.time_s < end)]
    speeds = np.interp([start, end], truth.time_s, truth.speed)
    long = end - start >= 4.0 and len(samples) >= 6
    return (start, end) if long and speeds[0] - speeds[1] >= 2.0 else None


def overlap(p: Pass, start: float, end: float) -> float:
    return max(0.0, min(p.end_s, end) - max(p.start_s, start))
