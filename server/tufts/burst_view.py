"""What the page of a burst shows: each tuft's mean direction, how unsteady it is, and the condition proposed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from server.testday.rounding import with_uncertainty
from server.testday.tufts import CONDITIONS, TuftMark
from server.tufts.glyphs import PhotoFigure, figure, glyphs_of
from server.tufts.photo_view import PhotoNow
from server.tufts.service import NamedMark

FAN_STEPS = 12
WIDEST_RAD = math.pi
HOW = {
    "person": "a person", "stations": "the stations’ places", "burst": "the end that stays", "tape": "tape",
    "taper": "the thread thins out", "flow": "the main flow", "no-flow": "the photo without flow", None: "nothing told",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class BurstRow:
    """A tuft of the table. sure: the interval leaves one condition, and which end is the root was told."""

    key: str
    name: str
    direction: str
    spread: str
    frames: str
    rest: str
    root: str
    condition: str
    sure: bool
    taken: bool


def burst_rows(now: PhotoNow, told: Mapping[str, Mapping[str, Any]], frames: int, reader: str) -> tuple[BurstRow, ...]:
    """The proposals that come of the burst, the least steady first. told: by mark, as the job keeps it."""
    mine = {one.key for one in now.of(reader)}
    known = [one for one in now.proposals if one.key in told]
    known.sort(key=lambda one: -(one.mark.spread_rad or 0.0))
    return tuple(_row(number, one, told[one.key], frames, one.key in mine) for number, one in enumerate(known, start=1))


def _row(number: int, one: NamedMark, told: Mapping[str, Any], frames: int, taken: bool) -> BurstRow:
    mark = one.mark
    return BurstRow(
        key=one.key,
        name=mark.station or f"tuft {number}",
        direction=_direction(mark),
        spread=spread_words(told),
        frames=f"{told['n']} of {frames}",
        rest="" if told["still_rad"] is None else f"{math.degrees(told['still_rad']):.0f}",
        root=HOW[mark.direction_settled_by],
        condition=mark.condition or "",
        sure=not told["open"] and mark.direction_settled_by is not None and bool(mark.condition),
        taken=taken,
    )


def _direction(mark: TuftMark) -> str:
    if mark.direction_rad is None:
        return ""
    u95 = 2.0 * math.degrees(mark.direction_u_rad or 0.0)
    value = math.degrees(mark.direction_rad)
    return with_uncertainty(value, u95) if 0.0 < u95 < 180.0 else "any"


def spread_words(told: Mapping[str, Any]) -> str:
    """The spread with its bounds in degrees."""
    spread, low, high = (math.degrees(told[name]) for name in ("spread_rad", "low_rad", "high_rad"))
    top = "any" if told["high_rad"] >= WIDEST_RAD else f"{high:.1f}" if high < 10 else f"{high:.0f}"
    return f"{spread:.1f} ({low:.1f} to {top})"


def burst_sentence(rows: tuple[BurstRow, ...], frames: int, still: bool) -> str:
    """What the burst says, and what to do next."""
    if not rows:
        return f"A burst of {frames} frames, not read yet: have the program lay them over each other."
    kinds = [(name, sum(row.condition == name for row in rows)) for name in CONDITIONS]
    words = ", ".join(f"{count} {name}" for name, count in kinds if count)
    loose = sum(not row.sure for row in rows)
    rest = f"; look at {loose} of them, whose condition or root the frames leave open" if loose else ""
    beside = "" if still else "; a photo without flow of this view would tell what hangs by its weight"
    return f"{len(rows)} tufts over {frames} frames: proposed {words or 'no condition'}{rest}{beside}."


def burst_figure(now: PhotoNow, told: Mapping[str, Mapping[str, Any]], title: str) -> PhotoFigure:
    """The frame that leads, each tuft with a fan as wide as its spread to either side."""
    known = [one for one in now.proposals if one.key in told]
    fans = tuple(_fan(one.mark, told[one.key]["spread_rad"]) for one in known)
    return figure(now.photo, glyphs_of(known, "machine"), title, fans=fans)


def _fan(mark: TuftMark, spread_rad: float) -> str:
    """A sector about the mean direction, as an SVG path in picture pixels."""
    half, length = min(spread_rad, 0.999 * math.pi), mark.length_px or 0.0
    middle = mark.direction_rad or 0.0
    turns = [middle + half * (2.0 * k / FAN_STEPS - 1.0) for k in range(FAN_STEPS + 1)]
    points = (f"{mark.x_px + length * math.cos(a):.1f} {mark.y_px + length * math.sin(a):.1f}" for a in turns)
    return f"M{mark.x_px:.1f} {mark.y_px:.1f}L{'L'.join(points)}Z"
