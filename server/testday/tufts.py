"""Tufts as frozen plain values: photos of a car under way, marks on them, and the stations where tufts are stuck.

On a picture: pixels, x to the right and y down, the middle of the first pixel at (0, 0), the picture turned upright.
On a part: metres in the plane of the part, x and y as its drawing has them. A direction points from a tuft's root to
its loose end, the way the air goes, counted from +x towards +y [rad]: on a picture, clockwise as one looks at it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Condition = Literal["attached", "unsteady", "separated", "reversed"]
CONDITIONS: tuple[Condition, ...] = ("attached", "unsteady", "separated", "reversed")
MarkedBy = Literal["person", "machine"]
# What told the root from the loose end: a person, the stations' places, the end that stays where it is over the frames
# of a burst, tape at the root, a thread that thins out, a person's word on the way of the flow, the end that stays
# where it is without flow; None where nothing did.
SettledBy = Literal["person", "stations", "burst", "tape", "taper", "flow", "no-flow"]


@dataclass(frozen=True, slots=True)
class TuftStation:
    """Where a tuft is stuck on a part, and what the prediction draws there (None: it says nothing).

    setup: whose prediction it is; empty for all setups.
    """

    part: str
    name: str
    x_m: float
    y_m: float
    direction_rad: float | None = None
    condition: Condition | None = None
    setup: str = ""


@dataclass(frozen=True, slots=True)
class TuftMark:
    """One tuft as seen on one photo, by a person or by the machine.

    x_px, y_px: its root; where nothing settled which end that is, one of the two ends, with direction_settled_by
    None: the direction may then be the opposite one. direction_u_rad: standard uncertainty of the direction, that
    settled. settled_confidence: probability that root and end are not swapped. condition: None while nobody judged it.
    spread_rad: circular standard deviation over the frames of a burst. accepted: whether a person stands behind it;
    a person's own marks always are. station: name of the part's station that it was matched to.
    """

    x_px: float
    y_px: float
    direction_rad: float | None
    condition: Condition | None
    by: MarkedBy
    accepted: bool
    who: str = ""
    part: str = ""
    station: str | None = None
    length_px: float | None = None
    direction_u_rad: float | None = None
    direction_settled_by: SettledBy | None = None
    settled_confidence: float | None = None
    spread_rad: float | None = None


@dataclass(frozen=True, slots=True)
class PointPair:
    """A point of a part found on a picture, by which the picture is registered: part [m] and picture [px]."""

    x_m: float
    y_m: float
    x_px: float
    y_px: float
    name: str = ""


@dataclass(frozen=True, slots=True)
class ViewRegistration:
    """How one part lies on one picture: the point pairs that a person set. The homography follows from them."""

    view: str
    part: str
    pairs: tuple[PointPair, ...]


@dataclass(frozen=True, slots=True)
class TuftPhoto:
    """One photo of tufts: which run and setup, from which view, and what was marked on it.

    sha256: of the file as it came. flow_rad: a person's word on where the flow goes on the picture. no_flow: taken of
    the standing car in still air. burst: name common to frames taken in one go.
    """

    sha256: str
    run: int | None
    setup: str | None
    view: str
    width_px: int
    height_px: int
    registrations: tuple[ViewRegistration, ...] = ()
    marks: tuple[TuftMark, ...] = ()
    flow_rad: float | None = None
    no_flow: bool = False
    burst: str | None = None
