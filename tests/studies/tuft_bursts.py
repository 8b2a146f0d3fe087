"""Do intervals of a tuft's unsteadiness hold over bursts whose motion is known, and are proposed conditions right?"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from server.analysis.tuft_burst_reading import Frame, read_burst
from server.analysis.tuft_reading import read_tufts
from server.testday.tufts import CONDITIONS
from tests.studies.tufts import READABLE_CONTRAST, matches
from tests.tufts.bursts import Burst, burst, burst_scenario


@dataclass(frozen=True)
class SeenTuft:
    """A tuft found on a burst: truth and what was told; angles in degrees, high inf: any."""

    condition: str
    spread: float
    told: float
    low: float
    high: float
    frames: int
    proposed: str
    proposed_beside_still: str
    open: bool
    error: float
    u: float
    how: str


@dataclass(frozen=True)
class BurstTrial:
    """One burst: readable tufts by condition, those found on its first frame alone, those found on the burst."""

    seed: int
    count: int
    memory: float
    tufts: dict[str, int]
    alone: dict[str, int]
    found: list[SeenTuft]
    false: int
    proposed: int


def one_burst(job: tuple[int, int, float]) -> BurstTrial:
    """Draw and read the burst of a seed."""
    seed, width, memory = job
    rng = np.random.default_rng(seed)
    scenario, count = burst_scenario(rng, width), int(rng.integers(4, 11))
    return trial(burst(scenario, seed, count, memory), seed, memory)


def trial(drawn: Burst, seed: int, memory: float = 0.0) -> BurstTrial:
    """Read a burst and hold it against what was drawn."""
    frames = [Frame.of(photo) for photo in drawn.frames]
    with_still = read_burst(frames, flow_rad=drawn.flow_rad, still=Frame.of(drawn.still))
    plain = [one.condition for one in read_burst(frames, flow_rad=drawn.flow_rad).tufts]
    known = [one.tuft for one in drawn.tufts]
    marks = [one.tuft.mark for one in with_still.tufts]
    good = {k for k, one in enumerate(known) if one.contrast >= READABLE_CONTRAST}
    own = matches(marks, known, loose=True)
    alone = {k for k in matches(read_tufts(drawn.frames[0]).marks, known, loose=True) if k in good}
    found = []
    for place, (one, k) in enumerate(zip(with_still.tufts, own, strict=True)):
        if k is None or k not in good:
            continue
        truth, told = drawn.tufts[k], one.tuft.unsteady
        error = math.remainder((one.tuft.mark.direction_rad or 0.0) - truth.tuft.direction_rad, math.tau)
        widths = (truth.spread_rad, told.spread_rad, told.low_rad, told.high_rad)
        found.append(SeenTuft(
            truth.condition, *(math.degrees(width) for width in widths),
            told.n, plain[place] or "", one.condition or "", one.open, math.degrees(error),
            math.degrees(one.tuft.mark.direction_u_rad or 0.0), one.tuft.mark.direction_settled_by or "nothing",
        ))  # fmt: skip
    kinds, singly = (dict(Counter(drawn.tufts[k].condition for k in which)) for which in (good, alone))
    return BurstTrial(seed, len(drawn.frames), memory, kinds, singly, found, sum(k is None for k in own), len(own))


def run(
    seeds: range, width: int, memory: float, store: Path | None, processes: int
) -> list[BurstTrial]:
    """Trials of fresh bursts, kept beside the store."""
    jobs = [(seed, width, memory) for seed in seeds]
    with ProcessPoolExecutor(processes) as pool:
        trials = []
        for done in pool.map(one_burst, jobs):
            trials.append(done)
            if store is not None:
                with store.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(done)) + "\n")
    return trials


def report(trials: Sequence[BurstTrial]) -> str:
    """Found, intervals that held, conditions right."""
    seen = [one for t in trials for one in t.found]
    none, told = sum(t.false for t in trials), max(sum(t.proposed for t in trials), 1)
    frames = sum(t.count for t in trials)
    lines = [f"{len(trials)} bursts, {frames} frames; of what is told {100 * none / told:.1f} % is no tuft"]
    for kind in CONDITIONS:
        mine = [one for one in seen if one.condition == kind]
        tufts, alone = (sum(getattr(t, name).get(kind, 0) for t in trials) for name in ("tufts", "alone"))
        if tufts and mine:
            lines.append(
                f"{kind:11} {tufts:5}  on one frame {100 * alone / tufts:5.1f} %  on the burst "
                f"{100 * len(mine) / tufts:5.1f} %  interval of spread holds {_share(_holds(o) for o in mine)}  "
                f"proposed right {_share(o.proposed == kind for o in mine)}, beside a photo without flow "
                f"{_share(o.proposed_beside_still == kind for o in mine)}"
            )
    if seen:
        lines.append(f"intervals that hold, all: {_share(_holds(o) for o in seen)}; conditions right: "
                     f"{_share(o.proposed == o.condition for o in seen)}, where the interval leaves one "
                     f"{_share(o.proposed == o.condition for o in seen if not o.open)}; mean direction within 2 u: "
                     f"{_share(abs(o.error) < 2 * o.u for o in seen if abs(o.error) < 90)}")  # fmt: skip
    for how in sorted({o.how for o in seen}):
        mine = [o for o in seen if o.how == how]
        lines.append(f"root told by {how}: {len(mine)} of {len(seen)}, right {_share(abs(o.error) < 90 for o in mine)}")
    return "\n".join(lines)


def _holds(one: SeenTuft) -> bool:
    return one.low <= one.spread <= one.high


def _share(of: object) -> str:
    values = list(of)  # type: ignore[call-overload]
    return f"{100 * np.mean(values):.1f} % of {len(values)}" if values else "–"
