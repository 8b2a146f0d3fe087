"""Bursts of made-up photos whose tufts swing by a known amount from frame to frame, and the same car without flow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from server.testday.tufts import Condition
from tests.tufts.picture import F
from tests.tufts.scene import Scenario, Stuck, bare_car, in_sight, lifelike_scenario, lit, photographed
from tests.tufts.strands import KnownTuft, Strand, draw

SPREADS_DEG: dict[Condition, tuple[float, float]] = {
    "attached": (1.0, 8.0), "unsteady": (12.0, 27.0), "separated": (35.0, 70.0), "reversed": (2.0, 20.0),
}  # fmt: skip
SHARES: dict[Condition, float] = {"attached": 0.5, "unsteady": 0.25, "separated": 0.15, "reversed": 0.1}


@dataclass(frozen=True)
class KnownUnsteady:
    """A tuft as it lies on the first frame in the mean; spread of its direction from frame to frame [rad]."""

    tuft: KnownTuft
    spread_rad: float
    condition: Condition


@dataclass(frozen=True)
class Burst:
    """Frames of one view and what is true; moves: (dx, dy, roll) of each frame's picture; flow_rad: of all around."""

    frames: tuple[NDArray[np.uint8], ...]
    still: NDArray[np.uint8]
    tufts: tuple[KnownUnsteady, ...]
    moves: tuple[tuple[float, float, float], ...]
    flow_rad: float


def burst_scenario(rng: np.random.Generator, width: int) -> Scenario:
    """As a photo that is much like a real one, of one part; tufts' motion is drawn for each frame."""
    return replace(lifelike_scenario(rng, width), parts=1, fluttering=0.0, crossing=0.0)


def burst(scenario: Scenario, seed: int, count: int, memory: float = 0.0) -> Burst:
    """memory: how far a tuft's swing on one frame is that of the frame before (correlation)."""
    rng = np.random.default_rng(seed)
    bare, stuck = bare_car(scenario, rng)
    kinds: list[Condition] = list(rng.choice(list(SHARES), len(stuck), p=list(SHARES.values())))
    spread = np.radians([rng.uniform(*SPREADS_DEG[kind]) for kind in kinds])
    swings = _swings(rng, count, len(stuck), memory) * spread
    moves = [(0.0, 0.0, 0.0)] + [
        (float(dx), float(dy), float(roll)) for dx, dy, roll in rng.normal(0, [9.0, 9.0, 0.008], (count - 1, 3))
    ]
    flow = float(np.angle(np.mean([np.exp(1j * _on_picture(one)) for one in stuck])))
    means = [replace(one.strand, direction_rad=one.strand.direction_rad + (math.pi if kind == "reversed" else 0.0))
             for one, kind in zip(stuck, kinds, strict=True)]  # fmt: skip
    frames = []
    for k in range(count):
        turned = [replace(one, direction_rad=one.direction_rad + float(swing), flutter_rad=_smear(rng, wide))
                  for one, swing, wide in zip(means, swings[k], spread, strict=True)]  # fmt: skip
        frames.append(_frame(bare, _with(stuck, turned), scenario, (seed, k), moves[k]))
    hanging = [replace(one, direction_rad=0.5 * math.pi + rng.normal(0, 0.08)) for one in means]
    still = _frame(bare, _with(stuck, hanging), scenario, (seed, count), (4.0, -3.0, 0.004))
    scratch = bare.copy()
    lying = [draw(scratch, one.lie, mean, one.aspect) for one, mean in zip(stuck, means, strict=True)]
    nothing = np.zeros(scratch.shape[:2], bool)
    seen = [float(wide) * _stretch(replace(one, strand=mean)) for one, mean, wide in zip(stuck, means, spread,
                                                                                        strict=True)]  # fmt: skip
    told = (KnownUnsteady(*each) for each in zip(lying, seen, kinds, strict=True))
    return Burst(tuple(frames), still, tuple(one for one in told if in_sight(one.tuft, nothing)), tuple(moves), flow)


def _with(stuck: list[Stuck], strands: list[Strand]) -> list[Stuck]:
    return [replace(one, strand=strand) for one, strand in zip(stuck, strands, strict=True)]


def _swings(rng: np.random.Generator, count: int, tufts: int, memory: float) -> NDArray[np.float64]:
    """Standard normal, each frame's remembering the last one's."""
    swings = rng.standard_normal((count, tufts))
    for k in range(1, count):
        swings[k] = memory * swings[k - 1] + math.sqrt(1.0 - memory**2) * swings[k]
    return swings


def _smear(rng: np.random.Generator, spread: float) -> float:
    """How far it swings while the shutter is open: a part of how far it swings at all, nothing for steady ones."""
    return float(rng.uniform(0.05, 0.35)) * spread if spread > math.radians(10.0) else 0.0


def _on_picture(one: Stuck, turn: float = 0.0) -> float:
    way = one.strand.direction_rad + turn
    off = np.array([[0.0, 0.0], [math.cos(way), math.sin(way) * one.aspect]])
    ends = one.lie.to_picture(one.strand.root + one.strand.length * off)
    return math.atan2(*(ends[1] - ends[0])[::-1])


def _stretch(one: Stuck) -> float:
    """By how much a small turn on the part is larger on the picture."""
    return abs(math.remainder(_on_picture(one, 0.1) - _on_picture(one, -0.1), math.tau)) / 0.2


def _frame(
    bare: F, threads: list[Stuck], scenario: Scenario, of: tuple[int, int], move: tuple[float, float, float]
) -> NDArray[np.uint8]:
    """of: the seed, and which frame it is."""
    picture = bare.copy()
    for one in threads:
        draw(picture, one.lie, one.strand, one.aspect)
    picture = lit(picture, scenario, np.random.default_rng(of[0] + 1))  # the same light on every frame
    return photographed(_moved(picture, move), scenario, np.random.default_rng(of))


def _moved(picture: F, move: tuple[float, float, float]) -> F:
    """Shifted, and rolled about its middle: what was at p lies at R (p − c) + c + d."""
    dx, dy, roll = move
    if not any(move):
        return picture
    height, width = picture.shape[:2]
    y, x = np.meshgrid(np.arange(height, dtype=np.float32) - height / 2 - dy,
                       np.arange(width, dtype=np.float32) - width / 2 - dx, indexing="ij")  # fmt: skip
    c, s = math.cos(roll), math.sin(roll)
    at = [c * y - s * x + height / 2, c * x + s * y + width / 2]
    return np.stack([map_coordinates(picture[..., channel], at, order=1, mode="nearest") for channel in range(3)], -1)
