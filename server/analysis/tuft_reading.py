"""Tufts read off a photo by the machine: where they are and point, how sure that is, and what was not settled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from server.analysis.tuft_candidates import Bars, bars, one_each
from server.analysis.tuft_company import second_look
from server.analysis.tuft_direction import Directions, Settled, directions, settle
from server.analysis.tuft_judging import features, first_look
from server.analysis.tuft_lines import Lines, joined, lines
from server.analysis.tuft_planes import as_picture, planes
from server.analysis.tuft_profiles import profiles
from server.analysis.tuft_ridges import ridge_points
from server.testday.tufts import TuftMark

MOST_TUFTS = 1500
MOST_LINES = 12_000
TUFT_FROM = 0.5  # a bar at least this probable is proposed
_SHORTEST_PX, _LONGEST_PX = 14.0, 700.0
_BORDER_PX = 2.0


@dataclass(frozen=True, slots=True)
class TuftReading:
    """Proposed marks, the likeliest first, none accepted; probabilities: that each is a tuft at all.

    unsettled: how many directions may be the opposite one; said: sentences on what limits the reading.
    """

    marks: tuple[TuftMark, ...]
    probabilities: tuple[float, ...]
    unsettled: int
    said: tuple[str, ...]


def read_tufts(
    photo: NDArray[np.generic],
    roots_px: ArrayLike | None = None,
    stations: Sequence[str] = (),
    flow_rad: float | None = None,
    least: float = TUFT_FROM,
) -> TuftReading:
    """Propose marks for the tufts on a photo.

    photo: (rows, columns) or (rows, columns, channels), upright; 8 or more bits, or floats. roots_px: where the
    stations of a registered view lie on it, (m, 2), with their names in `stations`. flow_rad: a person's word on the
    way that the flow takes across the picture. least: probability from which a bar is proposed. Raises ValueError for
    what is no picture.
    """
    if len(stations) not in (0, 0 if roots_px is None else len(np.atleast_2d(np.asarray(roots_px, float)))):
        raise ValueError("stations: as many names as roots_px has places")
    picture = as_picture(photo)
    every, told, said = candidates(picture)
    odds = first_look(told)
    best = one_each(every, odds)
    these = every.some(best)
    chance = second_look(these, told[best], odds[best])
    kept = np.nonzero((chance >= least) & _inside(these, picture.shape))[0]
    if len(kept) > MOST_TUFTS:
        said.append(f"{len(kept):,} lines look like tufts; the likeliest {MOST_TUFTS:,} are proposed.")
    kept = kept[np.argsort(-chance[kept], kind="stable")][:MOST_TUFTS]
    these = these.some(kept)
    ways = directions(picture, these)
    roots = None if roots_px is None else np.atleast_2d(np.asarray(roots_px, float))
    ends = settle(these, ways.way_rad, roots, flow_rad)
    marks = tuple(
        _mark(these.stop[k] - these.start[k], _Told(ways, k), float(these.length[k]), ends[k], stations)
        for k in range(len(these))
    )
    unsettled = sum(mark.direction_settled_by is None for mark in marks)
    if unsettled:
        said.append(f"Of {len(marks)} tufts {unsettled} may point the opposite way: nothing told root from loose end.")
    return TuftReading(marks, tuple(float(c) for c in chance[kept]), unsettled, tuple(said))


def candidates(picture: NDArray[np.uint8]) -> tuple[Bars, NDArray[np.float64], list[str]]:
    """All bars on a photo, tuft or not, with their features (n, len(FEATURES)), and what limits the search."""
    found, said = _lines(picture)
    every = bars(found, *profiles(picture, found))
    return every, features(every), said


def _lines(picture: NDArray[np.uint8]) -> tuple[Lines, list[str]]:
    said = []
    parts = []
    for level in planes(picture):
        points = ridge_points(level)
        if points.cut:
            said.append("The photo is full of thin lines, as noise or a net has them; only the strongest count.")
        parts.append(lines(points))
    found = joined(parts)
    found = found.some((2.0 * found.half_px >= _SHORTEST_PX) & (2.0 * found.half_px <= _LONGEST_PX))
    if len(found) > MOST_LINES:
        said.append(f"{len(found):,} lines were found; the strongest {MOST_LINES:,} were looked at.")
        found = found.some(np.sort(np.argsort(-found.over_texture * np.sqrt(found.points))[:MOST_LINES]))
    return found, list(dict.fromkeys(said))


def _inside(these: Bars, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Both ends within the picture: a tuft cut off by its edge tells neither root nor length."""
    most = np.array([shape[1], shape[0]]) - 1 - _BORDER_PX
    ends = np.concatenate([these.start, these.stop], axis=1)
    return np.asarray((ends >= _BORDER_PX).all(axis=1) & (ends <= np.tile(most, 2)).all(axis=1))


class _Told:
    """One tuft's line."""

    def __init__(self, told: Directions, k: int) -> None:
        self.way, self.u = float(told.way_rad[k]), float(told.u_rad[k])
        self.x, self.y = (float(c) for c in told.middle[k])


def _mark(
    axis: NDArray[np.float64], told: _Told, length: float, end: Settled, stations: Sequence[str]
) -> TuftMark:
    way = told.way
    along = math.atan2(axis[1], axis[0])
    if abs(math.remainder(way - along, math.tau)) > 0.5 * math.pi:
        way += math.pi
    direction = math.remainder(way if end.at_start else way + math.pi, math.tau)
    return TuftMark(
        x_px=told.x - 0.5 * length * math.cos(direction),
        y_px=told.y - 0.5 * length * math.sin(direction),
        direction_rad=direction, condition=None, by="machine", accepted=False,
        station=stations[end.station] if end.station is not None and stations else None,
        length_px=length, direction_u_rad=told.u, direction_settled_by=end.how, settled_confidence=end.confidence,
    )  # fmt: skip
