"""Are tufts found on made-up photos, what else is taken for one, and how far off are their directions."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from server.analysis.tuft_reading import read_tufts
from server.testday.tufts import TuftMark
from tests.tufts.scene import Scenario, Scene, drawn_scenario, lifelike_scenario, scene
from tests.tufts.strands import KnownTuft

READABLE_CONTRAST = 60.0  # levels of red, green and blue, in the middle of what is beneath a tuft
_MIDDLE = 0.35  # of the true length: a mark whose middle is nearer is of this tuft
_AT_ROOT = 0.25  # of the true length
_TURN = math.radians(25.0)


@dataclass(frozen=True)
class TuftTrial:
    """One photo: what it is like, and what came of it. errors_deg: of directions as they point, mod 180°."""

    seed: int
    scenario: dict[str, Any]
    tufts: int
    found: int
    proposed: int
    false: int
    fluttering: int
    fluttering_found: int
    errors_deg: list[float]
    u_deg: list[float]
    settled: list[tuple[str, bool]]


def matches(
    marks: Sequence[TuftMark], tufts: Sequence[KnownTuft], loose: bool = False
) -> list[int | None]:
    """For each mark the drawn tuft that it is of; None for those of none. loose: by either end at the root, whatever
    the direction, for tufts that swing from frame to frame."""
    if not tufts:
        return [None] * len(marks)
    root, tip = (np.array([getattr(t, end) for t in tufts]) for end in ("root", "tip"))
    middle, length = 0.5 * (root + tip), np.array([t.length_px for t in tufts])
    way, flutter = (np.array([getattr(t, name) for t in tufts]) for name in ("direction_rad", "flutter_rad"))
    found: list[int | None] = []
    for mark in marks:
        own, direction = mark.length_px or 0.0, mark.direction_rad or 0.0
        centre = np.array([mark.x_px, mark.y_px]) + 0.5 * own * np.array([math.cos(direction), math.sin(direction)])
        far = np.hypot(*(middle - centre).T)
        turn = np.abs(np.mod(way - direction + 0.5 * np.pi, np.pi) - 0.5 * np.pi)
        near = (far < _MIDDLE * length) & (turn < _TURN + flutter)
        if loose:
            ends = centre + 0.5 * own * np.array([[1.0], [-1.0]]) * np.array([math.cos(direction), math.sin(direction)])
            near = np.min([np.hypot(*(root - end).T) for end in ends], axis=0) < _AT_ROOT * length
        fits = near & (own > 0.45 * length) & (own < 1.6 * length)
        best = int(np.argmin(np.where(fits, far / length + turn, np.inf)))
        found.append(best if fits[best] else None)
    return found


def trial(drawn: Scene, seed: int) -> TuftTrial:
    """Read a photo and hold what was read against what was drawn."""
    read = read_tufts(drawn.photo)
    own, partly = matches(read.marks, drawn.tufts), matches(read.marks, drawn.partly)
    still = {k for k, t in enumerate(drawn.tufts) if t.contrast >= READABLE_CONTRAST and not t.flutter_rad}
    fluttering = {k for k, t in enumerate(drawn.tufts) if t.flutter_rad}
    hit = {k for k in own if k is not None}
    pairs = [(m, drawn.tufts[k]) for m, k in zip(read.marks, own, strict=True) if k in still and k is not None]
    turns = [math.remainder((m.direction_rad or 0.0) - t.direction_rad, math.tau) for m, t in pairs]
    return TuftTrial(
        seed, asdict(drawn.scenario), len(still), len(hit & still), len(read.marks),
        sum(a is None and b is None for a, b in zip(own, partly, strict=True)),
        len(fluttering), len(hit & fluttering),
        [math.degrees(math.remainder(turn, math.pi)) for turn in turns],
        [math.degrees(m.direction_u_rad or 0.0) for m, _ in pairs],
        [(m.direction_settled_by or "unsettled", abs(turn) < 0.5 * math.pi)
         for (m, _), turn in zip(pairs, turns, strict=True)],
    )  # fmt: skip


def one_photo(job: tuple[int, int, bool]) -> TuftTrial:
    """Draw and read the photo of a seed, of a width; with what real photographs have besides, or without."""
    seed, width, lifelike = job
    drawn = lifelike_scenario if lifelike else drawn_scenario
    return trial(scene(drawn(np.random.default_rng(seed), width), seed), seed)


STRATA: dict[str, Callable[[Scenario], bool]] = {
    "all": lambda _: True,
    "tufts below 70 px": lambda s: s.length_px < 70,
    "tufts of 70 px and more": lambda s: s.length_px >= 70,
    "bare photo": lambda s: s.distractors == 0,
    "things about": lambda s: 0 < s.distractors <= 0.5,
    "many things about": lambda s: s.distractors > 0.5,
    "woven carbon": lambda s: s.weave,
    "curved parts": lambda s: abs(s.bulge) > 0.1,
    "shadows": lambda s: s.shadows > 0,
    "highlights": lambda s: s.highlights > 0,
    "two colours": lambda s: s.two_colours,
    "colour alone tells": lambda s: s.grey_alike,
    "tape at the roots": lambda s: s.taped,
    "bent threads": lambda s: s.bent > 0,
    "crossing threads": lambda s: s.crossing > 0,
    "noise above 5": lambda s: s.noise > 5,
    "much bodywork": lambda s: s.bodywork > 0.5,
    "dark and light in one": lambda s: s.stripe,
    "fuzzy wool": lambda s: s.fuzz > 0.5,
    "threads below 2 px": lambda s: s.length_px / s.aspect < 2.0 and s.least_width_px < 2.0,
    "uneven light": lambda s: s.uneven,
    "bars of shade": lambda s: s.shade_bars > 0,
    "many glints": lambda s: s.glints > 5,
    "shaken": lambda s: s.shake_any_px > 0,
    "made crisp": lambda s: s.crisp > 0,
    "JPEG below 80": lambda s: s.quality < 80,
}


def run(seeds: range, width: int, lifelike: bool, store: Path | None, processes: int) -> list[TuftTrial]:
    """Trials of fresh photos; those kept beside the store are not drawn again."""
    kept: dict[int, TuftTrial] = {}
    if store is not None and store.exists():
        lines = [json.loads(line) for line in store.read_text("utf-8").splitlines()]
        kept = {line["seed"]: TuftTrial(**line) for line in lines if line["scenario"]["width"] == width}
    missing = [(seed, width, lifelike) for seed in seeds if seed not in kept]
    with ProcessPoolExecutor(processes) as pool:
        for done in pool.map(one_photo, missing):
            kept[done.seed] = done
            if store is not None:
                with store.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(done)) + "\n")
    return [kept[seed] for seed in seeds]


def report(trials: Sequence[TuftTrial]) -> str:
    """One line a stratum: photos, tufts, found, false among proposed, angle error, root told right."""
    names = ("photos", "tufts", "found", "false", "fluttering", "median", "95 %", "z")
    head = f"{'photos of':24} " + " ".join(n.rjust(w) for n, w in zip(names, (6, 6, 7, 7, 10, 7, 6, 5), strict=True))
    lines = [head, *(_line(name, [t for t in trials if of(Scenario(**t.scenario))]) for name, of in STRATA.items())]
    settled = [pair for t in trials for pair in t.settled]
    for how in sorted({how for how, _ in settled}):
        right = [ok for told, ok in settled if told == how]
        lines.append(f"root told by {how}: {len(right)} of {len(settled)}, right in {100 * np.mean(right):.1f} %")
    return "\n".join(lines)


def _line(name: str, trials: Sequence[TuftTrial]) -> str:
    def total(field: str) -> int:
        return sum(getattr(t, field) for t in trials)

    def share(part: str, whole: str) -> str:
        return f"{100 * total(part) / total(whole):.1f} %" if total(whole) else "–"

    errors = np.abs([e for t in trials for e in t.errors_deg])
    u = np.array([e for t in trials for e in t.u_deg])
    if not errors.size:
        return f"{name:24} {len(trials):6}"
    z = float(np.sqrt(np.mean(np.minimum(errors / u, 10.0) ** 2)))
    shares = (share("found", "tufts"), share("false", "proposed"))
    return (
        f"{name:24} {len(trials):6} {total('tufts'):6} {shares[0]:>7} {shares[1]:>7} "
        f"{share('fluttering_found', 'fluttering'):>10} {np.median(errors):6.2f}° {np.quantile(errors, 0.95):5.1f}° "
        f"{z:5.2f}"
    )
