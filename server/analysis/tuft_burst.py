"""Tufts over frames of a burst and beside a photo without flow: found together, mean direction, which end stays."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from server.analysis.tuft_frames import Move, ends_of
from server.analysis.tuft_limits import LEAST_FRAMES
from server.analysis.tuft_unsteadiness import Unsteadiness, unsteadiness
from server.inference.circular import CircularMean, circular_mean, difference, wrapped
from server.testday.tufts import SettledBy, TuftMark

FloatArray = NDArray[np.float64]
FRAME_FROM = 0.2  # a bar at least this probable counts on one frame: the others must bear it out
STEADY_FROM = 0.7  # middle probability of one that holds still: what lies about holds still, too
SWINGS_FROM = 0.25  # mean probability over all frames of one that swings about its root: nothing else does
_SWINGS_RAD = math.radians(4.0)
_CLEARLY_RAD = math.radians(20.0)  # apart on two frames: seen on no more, it is a smear on the others
_CLEARLY_FROM = 0.8
_REACH = 0.22  # of a tuft's length: ends no further apart are one root
_LENGTHS = (0.55, 1.8)
_STAYS = 3.0  # the loose end wanders at least so many times as far (variance)
_WANDERS_PX2 = 4.0
_STILL_CONFIDENCE = 0.9
_LEAST_U_PX = 0.7


@dataclass(frozen=True, slots=True)
class BurstTuft:
    """One tuft over frames: a mark with its mean direction and spread on the first frame, and how it was reached."""

    mark: TuftMark
    told: CircularMean
    unsteady: Unsteadiness
    frames: int


@dataclass(frozen=True, slots=True, eq=False)
class _Bars:
    """Bars of all frames on the first one: ends (n, 2, 2), length (n,), frame (n,), chance (n,), marks."""

    ends: FloatArray
    length: FloatArray
    frame: NDArray[np.intp]
    chance: FloatArray
    marks: tuple[TuftMark, ...]


def burst_tufts(
    frames: Sequence[Sequence[TuftMark]],
    moves: Sequence[Move],
    chances: Sequence[Sequence[float]] | None = None,
) -> tuple[BurstTuft, ...]:
    """Tufts found on at least `LEAST_FRAMES` frames, or on two where they clearly swing.

    frames: marks of each, the first one leads; moves: of each frame's picture against the first's; chances: that each
    mark is a tuft.

    Bars of different frames that share an end are one tuft: its root stays where it is however far it swings. The end
    that most frames share, and share most closely, is taken first. What is a smear on one frame is borne out by others.
    """
    if len(frames) != len(moves) or (chances is not None and len(chances) != len(frames)):
        raise ValueError("moves, chances: one of each frame")
    bars = _bars(frames, moves, chances)
    free = np.ones(len(bars.length), bool)
    groups = []
    for seed, side in _seeds(bars):
        if not free[seed]:
            continue
        group = _group(bars, free, seed, side)
        if not _borne_out(bars, group, len(frames)):
            continue
        for one, _ in group:
            free[one] = False
        groups.append(group)
    return tuple(_told(bars, group, len(frames)) for group in sorted(groups, key=min))


def _bars(
    frames: Sequence[Sequence[TuftMark]], moves: Sequence[Move], chances: Sequence[Sequence[float]] | None
) -> _Bars:
    pairs = []
    for marks, move in zip(frames, moves, strict=True):
        back = move.back(ends_of(marks))
        pairs.append(np.stack([back[: len(marks)], back[len(marks) :]], axis=1))
    ends = np.concatenate([*pairs, np.zeros((0, 2, 2))])
    frame = np.concatenate([np.full(len(marks), k, np.intp) for k, marks in enumerate(frames)])
    given = [c for each in chances for c in each] if chances is not None else [1.0] * len(ends)
    every = tuple(mark for marks in frames for mark in marks)
    return _Bars(ends, np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1), frame, np.array(given, float), every)


def _seeds(bars: _Bars) -> list[tuple[int, int]]:
    """Ends in the order in which they are tried: those that most of the other frames' bars share, closest first."""
    if not len(bars.length):
        return []
    flat = bars.ends.reshape(-1, 2)
    tree = cKDTree(flat)
    keys = []
    for place, (end, near) in enumerate(zip(flat, tree.query_ball_point(flat, _REACH * np.repeat(bars.length, 2)),
                                            strict=True)):  # fmt: skip
        others = np.array(near, np.intp)
        others = others[_alike(bars, others // 2, place // 2)]
        best: dict[int, float] = {}
        for other in others:
            k = int(bars.frame[other // 2])
            best[k] = max(best.get(k, 0.0), float(bars.chance[other // 2]))
        away = float(np.sqrt(np.mean(((flat[others] - end) ** 2).sum(axis=1)))) if len(others) else 0.0
        keys.append((-round(sum(best.values()), 1), away / max(float(bars.length[place // 2]), 1.0), place))
    return [(place // 2, place % 2) for *_, place in sorted(keys)]


def _alike(bars: _Bars, others: NDArray[np.intp], one: int) -> NDArray[np.bool_]:
    ratio = bars.length[others] / max(float(bars.length[one]), 1e-9)
    return np.asarray((ratio > _LENGTHS[0]) & (ratio < _LENGTHS[1]))


def _group(bars: _Bars, free: NDArray[np.bool_], seed: int, side: int) -> list[tuple[int, int]]:
    """Of each frame the free bar with an end nearest the seed's; (bar, which of its ends is the shared one)."""
    centre, length = bars.ends[seed, side], float(bars.length[seed])
    fit = np.nonzero(free & _alike(bars, np.arange(len(free)), seed))[0]
    away = np.linalg.norm(bars.ends[fit] - centre, axis=2)
    group = []
    for k in np.unique(bars.frame[fit]):
        mine = np.nonzero(bars.frame[fit] == k)[0]
        row, end = np.unravel_index(int(away[mine].argmin()), (len(mine), 2))
        if away[mine[row], end] <= _REACH * length:
            group.append((int(fit[mine[row]]), int(end)))
    return group


def _borne_out(bars: _Bars, group: Sequence[tuple[int, int]], frames: int) -> bool:
    chance = np.array([bars.chance[one] for one, _ in group])
    if len(group) < LEAST_FRAMES:
        return len(group) > 1 and frames > LEAST_FRAMES and chance.min() >= _CLEARLY_FROM and _apart(bars, group)
    if float(np.median(chance)) >= STEADY_FROM and len(group) >= 0.5 * frames:
        return True
    places = np.array([bars.ends[one] if end == 0 else bars.ends[one][::-1] for one, end in group])
    root, tip = (float(np.mean(((places[:, k] - places[:, k].mean(axis=0)) ** 2).sum(axis=1))) for k in (0, 1))
    length = float(np.median(bars.length[[one for one, _ in group]]))
    swings = tip > max(_STAYS * root, _WANDERS_PX2, (_SWINGS_RAD * length) ** 2)
    return swings and float(chance.sum()) / frames >= SWINGS_FROM


def _apart(bars: _Bars, group: Sequence[tuple[int, int]]) -> bool:
    """Whether two bars that share an end point well apart."""
    offs = [bars.ends[one][1 - end] - bars.ends[one][end] for one, end in group[:2]]
    ways = [math.atan2(off[1], off[0]) for off in offs]
    return abs(difference(*ways)) > _CLEARLY_RAD


def _told(bars: _Bars, group: Sequence[tuple[int, int]], frames: int) -> BurstTuft:
    """Frames of one tuft turned the same way round; the end that wanders less is the root."""
    places = np.array([bars.ends[one] if end == 0 else bars.ends[one][::-1] for one, end in group])
    marks = [bars.marks[one] for one, _ in group]
    spread = [float(np.mean(((places[:, k] - places[:, k].mean(axis=0)) ** 2).sum(axis=1))) for k in (0, 1)]
    ratio = max(spread) / max(min(spread), _LEAST_U_PX**2)
    stays = ratio > _STAYS and max(spread) > _WANDERS_PX2
    how, sure, swapped = _by_frames(marks, [end for _, end in group])
    if stays:
        how, sure, swapped = "burst", _confidence(ratio, len(group)), spread[0] > spread[1]
    if swapped:
        places = places[:, ::-1]
    off = places[:, 1] - places[:, 0]
    ways = np.arctan2(off[:, 1], off[:, 0])
    read_u = float(np.median([mark.direction_u_rad or 0.0 for mark in marks]))
    told, unsteady = circular_mean(ways), unsteadiness(ways, read_u, missed=frames - len(group))
    root, n = places[:, 0].mean(axis=0), len(group)
    u = told.half95_rad / 2.0 if told.half95_rad is not None else min(told.spread_rad, math.pi) / math.sqrt(n) * 2.0
    mark = replace(
        marks[0], x_px=float(root[0]), y_px=float(root[1]), direction_rad=told.mean_rad,
        length_px=float(np.median(np.linalg.norm(off, axis=1))), spread_rad=unsteady.spread_rad,
        direction_u_rad=math.hypot(u, read_u / math.sqrt(n)), direction_settled_by=how, settled_confidence=sure,
        station=next((m.station for m in marks if m.station), None),
    )  # fmt: skip
    return BurstTuft(mark, told, unsteady, n)


def _by_frames(marks: Sequence[TuftMark], ends: Sequence[int]) -> tuple[SettledBy | None, float | None, bool]:
    """What single frames say of the root, each frame one voice: how, how sure, and whether it is the other end."""
    voices = [(end, mark) for end, mark in zip(ends, marks, strict=True) if mark.direction_settled_by is not None]
    if not voices:
        return None, None, False
    here = [mark for end, mark in voices if end == 0]
    there = [mark for end, mark in voices if end == 1]
    more = max((here, there), key=lambda side: sum(mark.settled_confidence or 0.5 for mark in side))
    if len(more) <= 0.5 * len(voices):
        return None, None, False
    share = len(more) / len(voices)
    return more[0].direction_settled_by, share * (more[0].settled_confidence or 0.5), more is there


def _confidence(ratio: float, frames: int) -> float:
    """That the end which wanders less is the root: F of two variances of 2 (n − 1) degrees of freedom each."""
    from scipy.stats import f

    dof = 2 * (frames - 1)
    return float(1.0 - f.sf(ratio, dof, dof))


def beside_still(marks: Sequence[TuftMark], still: Sequence[TuftMark]) -> tuple[tuple[TuftMark, float | None], ...]:
    """Each mark with the direction that the same tuft has without flow, both of one view; None where it is not found.

    The end that both share is the root: it settles marks whose ends nothing else told apart.
    """
    return tuple(_beside(mark, still) for mark in marks)


def _ends(mark: TuftMark) -> tuple[complex, complex]:
    root = complex(mark.x_px, mark.y_px)
    way = mark.direction_rad or 0.0
    return root, root + (mark.length_px or 0.0) * complex(math.cos(way), math.sin(way))


def _beside(mark: TuftMark, still: Sequence[TuftMark]) -> tuple[TuftMark, float | None]:
    best: tuple[float, bool, TuftMark, bool] | None = None
    ends = _ends(mark)
    for other in still:
        gaps = [(abs(a - b), i == 1, other, j == 1) for i, a in enumerate(ends) for j, b in enumerate(_ends(other))]
        near = min(gaps, key=lambda gap: gap[0])
        best = near if best is None or near[0] < best[0] else best
    if best is None or best[0] > 0.25 * (mark.length_px or 0.0):
        return mark, None
    _, at_tip, other, other_at_tip = best
    still_rad = float(wrapped((other.direction_rad or 0.0) + (math.pi if other_at_tip else 0.0)))
    own = float(wrapped((mark.direction_rad or 0.0) + (math.pi if at_tip else 0.0)))
    if mark.direction_settled_by is not None or abs(difference(own, still_rad)) < math.radians(25.0):
        return mark, still_rad
    root = ends[1] if at_tip else ends[0]
    settled = replace(
        mark, x_px=root.real, y_px=root.imag, direction_rad=own, direction_settled_by="no-flow",
        settled_confidence=_STILL_CONFIDENCE,
    )  # fmt: skip
    return settled, still_rad
