"""Stations of a part put on a photo, marks of a photo put on the part, and a registration carried to the next photo."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.aero.homography import POINT_U_PX, DegeneratePointsError, Homography, fit_homography
from server.inference.circular import wrapped
from server.testday.tufts import TuftMark, TuftStation, ViewRegistration

MATCH_REACH = 0.45  # of the distance to the next station: a root further off belongs to none
PERSON_U_RAD = math.radians(5.0)  # of a direction drawn by hand (common practice, no source)


@dataclass(frozen=True, slots=True)
class SeenStation:
    """A station where it lies on a photo [px], how sure that is, and the predicted direction as it would be seen."""

    station: TuftStation
    x_px: float
    y_px: float
    u_px: float
    direction_rad: float | None


@dataclass(frozen=True, slots=True)
class PartDirection:
    """A mark on its part: place [m], direction [rad] and its standard uncertainty with that of the registration."""

    x_m: float
    y_m: float
    direction_rad: float | None
    u_rad: float | None


def register(view: ViewRegistration, point_u_px: float = POINT_U_PX) -> Homography:
    """How the part lies on the photo; raises DegeneratePointsError with one sentence where the pairs cannot tell."""
    part = np.array([(pair.x_m, pair.y_m) for pair in view.pairs]).reshape(-1, 2)
    photo = np.array([(pair.x_px, pair.y_px) for pair in view.pairs]).reshape(-1, 2)
    return fit_homography(part, photo, point_u_px)


def seen_stations(stations: Sequence[TuftStation], lies: Homography) -> tuple[SeenStation, ...]:
    """Where a part's stations lie on the photo; those behind the camera are left out."""
    places = np.array([(station.x_m, station.y_m) for station in stations]).reshape(-1, 2)
    ways = np.array([station.direction_rad or 0.0 for station in stations])
    seen, u = lies.to_picture(places), lies.place_u_px(places)
    turned, before = lies.direction_on_picture(places, ways), lies.in_view(places)
    return tuple(
        SeenStation(s, float(seen[k, 0]), float(seen[k, 1]), float(u[k]),
                    None if s.direction_rad is None else float(turned[k]))
        for k, s in enumerate(stations) if before[k]
    )  # fmt: skip


def on_part(mark: TuftMark, lies: Homography) -> PartDirection:
    """A mark's root and direction on the part; u joins that of the direction seen with that of the registration."""
    place = lies.to_part((mark.x_px, mark.y_px))
    x, y = (float(c) for c in place)
    if mark.direction_rad is None:
        return PartDirection(x, y, None, None)
    way = float(lies.direction_on_part(place, mark.direction_rad))
    seen_u = PERSON_U_RAD if mark.direction_u_rad is None else mark.direction_u_rad
    step = float(wrapped(lies.direction_on_part(place, mark.direction_rad + 1e-4) - way)) / 1e-4
    u = math.hypot(step * seen_u, float(lies.direction_u_rad(place, way)))
    return PartDirection(x, y, way, u)


def matched(marks: Sequence[TuftMark], stations: Sequence[SeenStation]) -> tuple[TuftMark, ...]:
    """Marks with their stations: each station takes the nearest root, no further off than `MATCH_REACH` of the way to
    the next station. Marks that a person gave a station keep it."""
    taken = {mark.station for mark in marks if mark.station is not None}
    free = [seen for seen in stations if seen.station.name not in taken]
    places = np.array([(seen.x_px, seen.y_px) for seen in stations]).reshape(-1, 2)
    pairs = []
    for seen in free:
        gaps = np.hypot(places[:, 0] - seen.x_px, places[:, 1] - seen.y_px)
        reach = MATCH_REACH * float(np.min(gaps[gaps > 0.0], initial=math.inf))
        for k, mark in enumerate(marks):
            far = math.hypot(mark.x_px - seen.x_px, mark.y_px - seen.y_px)
            if mark.station is None and far <= (reach if math.isfinite(reach) else mark.length_px or 0.0):
                pairs.append((far, seen, k))
    given: dict[int, TuftStation] = {}
    for _, seen, k in sorted(pairs, key=lambda pair: pair[0]):
        if k not in given and seen.station not in given.values():
            given[k] = seen.station
    return tuple(
        replace(mark, station=given[k].name, part=given[k].part) if k in given else mark for k, mark in enumerate(marks)
    )


def carried(view: ViewRegistration, found: Mapping[str, tuple[float, float]]) -> ViewRegistration:
    """The registration of the next photo of a view, of which some of the named points were found again.

    found: name of a pair → its place on the next photo [px]. Points that were not found again move with those that
    were: one gives a shift, two a shift with turn and scale, three an affine map, four or more a homography.
    Raises DegeneratePointsError where no known point is among them, or those found lie in a line.
    """
    again = [pair for pair in view.pairs if pair.name and pair.name in found]
    if not again:
        raise DegeneratePointsError("None of the view's points was found again on this photo; mark at least one.")
    old = np.array([(pair.x_px, pair.y_px) for pair in again])
    new = np.array([found[pair.name] for pair in again], float)
    every = np.array([(pair.x_px, pair.y_px) for pair in view.pairs])
    moved = fit_homography(old, new).to_picture(every) if len(again) > 3 else _moved(old, new, every)
    places = [
        found[pair.name] if pair.name and pair.name in found else (float(x), float(y))
        for pair, (x, y) in zip(view.pairs, moved, strict=True)
    ]
    return replace(
        view, pairs=tuple(replace(pair, x_px=x, y_px=y) for pair, (x, y) in zip(view.pairs, places, strict=True))
    )


def _moved(old: np.ndarray, new: np.ndarray, every: np.ndarray) -> np.ndarray:
    if len(old) == 1:
        return np.asarray(every + (new - old))
    if len(old) == 2:
        one, two = (complex(*(pair[1] - pair[0])) for pair in (old, new))
        if abs(one) < 1.0:
            raise DegeneratePointsError("The two points found again are one; mark points that lie apart.")
        turn = two / one
        matrix = np.array([[turn.real, turn.imag], [-turn.imag, turn.real]])
        return np.asarray(new[0] + (every - old[0]) @ matrix)
    edges = old[1:] - old[0]
    if abs(np.linalg.det(edges)) < 0.01 * float(np.ptp(old, axis=0).max()) ** 2:
        raise DegeneratePointsError("The three points found again lie in a line; mark one beside it.")
    return np.asarray(new[0] + (every - old[0]) @ np.linalg.solve(edges, new[1:] - new[0]))
