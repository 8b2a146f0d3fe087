"""The direction of a tuft to a fraction of a degree, and which of its ends is the root."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from server.analysis.tuft_candidates import Bars, apart
from server.analysis.tuft_lines import FloatArray
from server.analysis.tuft_planes import Picture
from server.testday.tufts import SettledBy, TuftMark

_ALONG = np.linspace(0.06, 0.94, 48)
_ACROSS = np.arange(-12, 13)
_FAINT = 0.3  # of the brightest across: below this it is what lies beside
_ALIKE_GRAINS_PX = 3.0  # a camera's and a JPEG file's errors hold together over so many pixels
LEAST_U_RAD = math.radians(0.3)
# A camera's pixels, a thread that crosses, tape: errors of short tufts were larger than the scatter lets expect.
_END_U_PX = 0.7
_UNLIKE = 0.5  # of the angle to the line that the ridge points make: what leads both astray does so unlike
# Where most tufts of a photo have one end that stands off so much more than the other, that is tape at the root.
_TAPE_RATIO = 0.3  # natural logarithm
_TAPE_STRENGTH = 1.4  # over the middle's
_TAPE_SHARE = 0.4
_TAPE_LEAST = 4
_TAPE_CONFIDENCE = 0.92  # so often right on made-up photos that are as hard as real ones
# Without tape a thread frays and thins towards its loose end; more than so much is something else beside it.
_TAPER = (0.1, 0.45)
_TAPER_CONFIDENCE = 0.79
_FLOW_WITHIN_RAD = math.radians(75.0)
_FLOW_CONFIDENCE = 0.95
_STATION_CONFIDENCE = 0.99
_STATION_REACH = 0.4  # of a tuft's length, from its station to its root


@dataclass(frozen=True, slots=True, eq=False)
class Directions:
    """Arrays (n,): way of the line (mod π) and its standard uncertainty; middle (n, 2)."""

    way_rad: FloatArray
    u_rad: FloatArray
    middle: FloatArray


def directions(picture: Picture, these: Bars) -> Directions:
    """A straight line through the middles of the light across each tuft, weighted by it.

    m_i = Σ s g/Σ g across at place i, g the light that stands off; y = a + b t by weighted least squares, points far
    off left out once. The slope of a bent thread is that of its chord. u: of the scatter of the m_i, of the ends'
    pixels, and of how far the line of the ridge points is from it.
    """
    if not len(these):
        return Directions(np.zeros(0), np.zeros(0), np.zeros((0, 2)))
    light, step = _straightened(picture, these)
    peak = np.quantile(light, 0.9, axis=(1, 2))
    light = np.clip(light - (_FAINT * peak)[:, None, None], 0.0, None)
    mass = light.sum(axis=2)
    middles = (light * _ACROSS).sum(axis=2) / np.maximum(mass, 1e-6) * step[:, None]
    t = (_ALONG - 0.5)[None, :] * these.length[:, None]
    weight = np.minimum(mass, np.median(mass, axis=1)[:, None])
    slope, offset, rest = _fitted(t, middles, weight)
    far = np.abs(rest) > np.maximum(2.5 * np.median(np.abs(rest), axis=1), 0.4)[:, None]
    slope, offset, rest = _fitted(t, middles, np.where(far, 0.0, weight))
    scatter = np.sqrt((weight * ~far * rest**2).sum(axis=1) / np.maximum((weight * ~far).sum(axis=1), 1e-9))
    grains = np.maximum(these.length / _ALIKE_GRAINS_PX, 4.0)
    u = np.hypot(scatter * np.sqrt(12.0 / grains), _END_U_PX) / these.length
    axis = np.arctan2(*(these.stop - these.start).T[::-1])
    way = np.mod(axis + np.arctan(slope), np.pi)
    u = np.hypot(np.hypot(u, LEAST_U_RAD), _UNLIKE * apart(way, these.lines.way_rad))
    across = np.stack([-np.sin(axis), np.cos(axis)], axis=1)
    return Directions(way, u, these.middle + offset[:, None] * across)


def _straightened(picture: Picture, these: Bars) -> tuple[FloatArray, FloatArray]:
    """Light that stands off, on a grid along and across each bar (n, along, across); step across [px]."""
    axis = np.arctan2(*(these.stop - these.start).T[::-1])
    c, s = np.cos(axis)[:, None, None], np.sin(axis)[:, None, None]
    step = np.clip(1.6 * these.profiles.width_px / 12.0, 0.35, None)
    t = (_ALONG - 0.5)[None, :, None] * these.length[:, None, None]
    u = _ACROSS[None, None, :] * step[:, None, None]
    middle = these.middle
    x, y = middle[:, 0, None, None] + t * c - u * s, middle[:, 1, None, None] + t * s + u * c
    off = these.profiles.off / np.maximum(these.profiles.contrast, 1e-6)[:, None]
    light = np.zeros(x.shape)
    for channel in range(3):
        seen = map_coordinates(picture[..., channel], [y, x], output=np.float32, order=1, mode="nearest")
        light += off[:, channel, None, None] * np.sqrt(np.clip(seen, 0, 255) * 255.0)
    left, right = (np.median(light[:, :, side], axis=2)[..., None] for side in (slice(0, 3), slice(-3, None)))
    share = (_ACROSS - _ACROSS[0]) / (_ACROSS[-1] - _ACROSS[0])  # an edge beside it must not pull it over
    return light - (left * (1.0 - share) + right * share), step


def _fitted(t: FloatArray, y: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    total = np.maximum(weight.sum(axis=1), 1e-9)
    mt, my = (weight * t).sum(axis=1) / total, (weight * y).sum(axis=1) / total
    dt, dy = t - mt[:, None], y - my[:, None]
    slope = (weight * dt * dy).sum(axis=1) / np.maximum((weight * dt**2).sum(axis=1), 1e-9)
    return slope, my - slope * mt, dy - slope[:, None] * dt


@dataclass(frozen=True, slots=True)
class Settled:
    """Whether the root is at the bar's start, what told so and how probable it is; how None: nothing did."""

    at_start: bool
    how: SettledBy | None
    confidence: float | None
    station: int | None = None


def settle(
    these: Bars, way_rad: FloatArray, roots_px: FloatArray | None, flow_rad: float | None
) -> list[Settled]:
    """Which end is the root: by a station's known place, else by tape or a thinning thread, else by the flow's way.

    A person's word on the way of the flow comes last: it would hide a tuft that points the other way.
    """
    seen = these.profiles
    tape, taper = (_log_ratio(*pair) for pair in ((seen.tip_start, seen.tip_stop), (seen.first, seen.last)))
    shown = (np.abs(tape) > _TAPE_RATIO) & (np.maximum(seen.tip_start, seen.tip_stop) > _TAPE_STRENGTH)
    taped = len(shown) >= _TAPE_LEAST and float(shown.mean()) >= _TAPE_SHARE
    by_ends = [_by_tape(shown[k], tape[k]) if taped else _by_taper(taper[k]) for k in range(len(these))]
    return [
        _by_station(these, k, roots_px)
        or by_ends[k]
        or _by_flow(float(way_rad[k]), flow_rad, these.start[k], these.stop[k])
        for k in range(len(these))
    ]


def _log_ratio(one: FloatArray, other: FloatArray) -> FloatArray:
    found: FloatArray = np.log(np.maximum(one, 1e-3) / np.maximum(other, 1e-3))
    return found


def _by_station(these: Bars, k: int, roots: NDArray[np.float64] | None) -> Settled | None:
    if roots is None or not len(roots):
        return None
    reach = _STATION_REACH * float(these.length[k])
    away = [np.hypot(*(roots - end).T) for end in (these.start[k], these.stop[k])]
    near = [int(distance.argmin()) for distance in away]
    one, two = float(away[0][near[0]]), float(away[1][near[1]])
    if min(one, two) > reach or (max(one, two) < reach and abs(one - two) < 0.5 * reach):
        return None
    return Settled(one < two, "stations", _STATION_CONFIDENCE, near[0] if one < two else near[1])


def _by_tape(shown: bool, ratio: float) -> Settled | None:
    return Settled(bool(ratio > 0.0), "tape", _TAPE_CONFIDENCE) if shown else None


def _by_taper(ratio: float) -> Settled | None:
    low, high = _TAPER
    return Settled(bool(ratio > 0.0), "taper", _TAPER_CONFIDENCE) if low <= abs(ratio) <= high else None


def settled_by_flow(mark: TuftMark, flow_rad: float) -> TuftMark:
    """A mark whose ends nothing told apart, its root where the flow comes from; as it was where the flow is across."""
    way, length = mark.direction_rad or 0.0, mark.length_px or 0.0
    root = np.array([mark.x_px, mark.y_px])
    tip = root + length * np.array([math.cos(way), math.sin(way)])
    told = _by_flow(way, flow_rad, root, tip)
    if told.how is None:
        return mark
    x, y = root if told.at_start else tip
    way = math.remainder(way if told.at_start else way + math.pi, math.tau)
    return replace(
        mark, x_px=float(x), y_px=float(y), direction_rad=way, direction_settled_by=told.how,
        settled_confidence=told.confidence,
    )  # fmt: skip


def _by_flow(way: float, flow: float | None, start: FloatArray, stop: FloatArray) -> Settled:
    if flow is None:
        return Settled(True, None, None)
    along = math.atan2(stop[1] - start[1], stop[0] - start[0])
    if abs(math.remainder(way - along, math.pi)) < abs(math.remainder(way - along, math.tau)):
        way += math.pi
    turn = abs(math.remainder(way - flow, math.tau))
    if min(turn, math.pi - turn) > _FLOW_WITHIN_RAD:
        return Settled(True, None, None)
    return Settled(turn < 0.5 * math.pi, "flow", _FLOW_CONFIDENCE)
