"""Fit the weights by which bars are judged tufts, to made-up photos of seeds that no figure is told of."""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from server.analysis import tuft_weights
from server.analysis.tuft_candidates import Bars, one_each
from server.analysis.tuft_company import COMPANY, with_company
from server.analysis.tuft_judging import FEATURES
from server.analysis.tuft_planes import as_picture
from server.analysis.tuft_reading import candidates
from tests.studies.network import Shape, fitted, odds, rounded
from tests.tufts.bare import BARE, bare
from tests.tufts.scene import Scene, drawn_scenario, lifelike_scenario, scene
from tests.tufts.strands import KnownTuft

WRITTEN = Path(tuft_weights.__file__).with_name(tuft_weights.WEIGHTS)
FOLDS = 2
FIRST = Shape(hidden=16, penalty=1e-5)
SECOND = Shape(hidden=10, penalty=1e-3, starts=3)
# Seeds that no figure is told of. Most are as hard as real ones; a few are of other sizes, plain, or without a tuft.
PHOTOS: tuple[tuple[str, int, range], ...] = (
    ("bare", 0, range(2_765_501, 2_765_541)), ("plain", 2000, range(2_765_201, 2_765_211)),
    ("lifelike", 1200, range(2_765_401, 2_765_413)), ("lifelike", 2000, range(2_765_001, 2_765_090)),
    ("lifelike", 4000, range(2_765_301, 2_765_302)),
)  # fmt: skip
_MIDDLE, _TURN, _LENGTHS = 0.35, np.radians(25.0), (0.45, 1.6)  # as the study counts
_ASIDE = 0.35  # of the width, and a pixel and a half
_CLOSE = (0.2, 0.2, 0.35)  # middle, turn, logarithm of the length: from end to end
NONE, WHOLE, ABOUT, BESIDE, PARTLY = range(5)


@dataclass(frozen=True)
class Example:
    """The bars of one photo, their features, and what each is."""

    bars: Bars
    told: NDArray[np.float64]
    kind: NDArray[np.intp]


def examples(job: tuple[str, int, int]) -> list[Example]:
    """Of one photo, and of a piece of it with few tufts; of a bare one alone. job: kind, width, seed."""
    kind, width, seed = job
    if kind == "bare":
        return [of_photo(bare(BARE[seed % len(BARE)], seed), (), ())]
    scenario = lifelike_scenario if kind == "lifelike" else drawn_scenario
    drawn = scene(scenario(np.random.default_rng(seed), width), seed)
    if not drawn.tufts:
        return []
    return [of_photo(drawn.photo, drawn.tufts, drawn.partly), of_photo(*piece(drawn, seed))]


def piece(drawn: Scene, seed: int) -> tuple[NDArray[np.uint8], list[KnownTuft], list[KnownTuft]]:
    """A quarter to a half of its width and height, cut from around a tuft: photos have few tufts, too."""
    rng = np.random.default_rng(seed)
    size = (np.array(drawn.photo.shape[1::-1]) * rng.uniform(0.22, 0.5)).astype(int)
    around = np.array(drawn.tufts[int(rng.integers(len(drawn.tufts)))].root) if drawn.tufts else size
    low = np.clip(around - rng.uniform(0.2, 0.8, 2) * size, 0, np.array(drawn.photo.shape[1::-1]) - size).astype(int)
    moved = [replace(t, root=tuple(t.root - low), tip=tuple(t.tip - low)) for t in (*drawn.tufts, *drawn.partly)]
    within = [all((np.array(end) > 3).all() and (end < size - 4).all() for end in (t.root, t.tip)) for t in moved]
    whole = [t for k, t in enumerate(moved) if within[k] and k < len(drawn.tufts)]
    cut = [t for k, t in enumerate(moved) if not (within[k] and k < len(drawn.tufts))]
    return drawn.photo[low[1] : low[1] + size[1], low[0] : low[0] + size[0]], whole, cut


def of_photo(pixels: NDArray[np.uint8], tufts: Sequence[KnownTuft], partly: Sequence[KnownTuft]) -> Example:
    """Bars of a photo held against what was drawn."""
    these, told, _ = candidates(as_picture(pixels))
    return Example(these, told, kinds(these, tufts, partly))


def kinds(these: Bars, tufts: Sequence[KnownTuft], partly: Sequence[KnownTuft]) -> NDArray[np.intp]:
    """What each bar is; BESIDE: of a tuft, yet along its edge and not along its middle."""
    found, beside, close = _fits(these, tufts)
    half, _, _ = _fits(these, partly)
    about = np.where(beside, BESIDE, ABOUT)
    return np.where(close, WHOLE, np.where(found, about, np.where(half, PARTLY, NONE)))


def _fits(these: Bars, tufts: Sequence[KnownTuft]) -> tuple[NDArray[np.bool_], ...]:
    """Which bars are of a tuft, which along the edge of one, and which along its middle from end to end."""
    if not tufts or not len(these):
        return tuple(np.zeros((3, len(these)), bool))
    middle = np.array([np.add(t.root, t.tip) / 2.0 for t in tufts])
    length, way, flutter, width, bend = (np.array([getattr(t, name) for t in tufts]) for name in
                                         ("length_px", "direction_rad", "flutter_rad", "width_px", "bend"))  # fmt: skip
    off = these.middle[:, None] - middle
    far = np.linalg.norm(off, axis=2) / length
    aside = np.abs(off[..., 1] * np.cos(way) - off[..., 0] * np.sin(way)) - 0.25 * np.abs(bend) * length
    turn = np.abs(np.mod(way - these.lines.way_rad[:, None] + 0.5 * np.pi, np.pi) - 0.5 * np.pi)
    ratio = these.length[:, None] / length
    fits = (far < _MIDDLE) & (turn < _TURN + flutter) & (ratio > _LENGTHS[0]) & (ratio < _LENGTHS[1])
    along = fits & (aside < _ASIDE * width + 1.5)
    close = along & (far < _CLOSE[0]) & (turn < _CLOSE[1]) & (np.abs(np.log(ratio)) < _CLOSE[2])
    return fits.any(axis=1), fits.any(axis=1) & ~along.any(axis=1), close.any(axis=1)


def fit(known: Sequence[Example]) -> dict[str, Any]:
    """Both looks' weights. The second is fitted to odds of first looks that did not see the photo."""
    parts = [list(range(k, len(known), FOLDS)) for k in range(FOLDS)]
    unseen: dict[int, NDArray[np.float64]] = {}
    for part in parts:
        network = _first([one for k, one in enumerate(known) if k not in part])
        unseen |= {k: odds(network, known[k].told) for k in part}
    seconds = [_second_rows(one, unseen[k]) for k, one in enumerate(known)]
    told, kind = (np.concatenate([pair[n] for pair in seconds]) for n in (0, 1))
    clear = kind != PARTLY
    second = fitted(told[clear], kind[clear] != NONE, SECOND)
    return {
        "first": rounded(_first(known), FEATURES),
        "second": rounded(second, (*FEATURES, "odds", *COMPANY)),
    }


def _first(known: Sequence[Example]) -> dict[str, Any]:
    """Whole tufts against what is none and against edges of tufts; what is in between teaches neither."""
    told, kind = (np.concatenate([getattr(one, name) for one in known]) for name in ("told", "kind"))
    clear = (kind == WHOLE) | (kind == NONE) | (kind == BESIDE)
    return fitted(told[clear], kind[clear] == WHOLE, FIRST)


def _second_rows(one: Example, first: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    best = one_each(one.bars, first)
    if not len(best):
        return np.zeros((0, len(FEATURES) + 1 + len(COMPANY))), np.zeros(0, np.intp)
    return with_company(one.bars.some(best), one.told[best], first[best]), one.kind[best]


def run(processes: int, out: Path) -> str:
    """Draw, fit, write."""
    jobs = [(kind, width, seed) for kind, width, seeds in PHOTOS for seed in seeds]
    with ProcessPoolExecutor(processes) as pool:
        drawn = list(pool.map(examples, jobs))
    known = [some[0] for some in drawn if some] + [some[1] for some in drawn if len(some) > 1]
    out.write_text(json.dumps(fit(known), separators=(",", ":")) + "\n", "utf-8")
    count = sum(int((one.kind == WHOLE).sum()) for one in known)
    return f"{len(known)} pictures, {count:,} bars that are tufts from end to end: {out}"
