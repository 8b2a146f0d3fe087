"""Photos taken in one go: which are, by their times or by a person's word, and which of them leads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Sequence
from typing import Literal, Protocol, TypeVar

from sqlalchemy.orm import Session

from server.analysis.tuft_limits import LEAST_FRAMES
from server.testday.values import Day
from server.tufts.service import Photo, photos_of

APART_S = 2.0  # frames of a burst are no further apart; a camera's clock tells whole seconds
How = Literal["by-time", "together", "apart"]
TOGETHER, BY_TIME = "sent as one burst", "taken within seconds"


class _HasPhoto(Protocol):
    @property
    def photo(self) -> Photo: ...


Shown = TypeVar("Shown", bound=_HasPhoto)


def frames_of(photos: Sequence[Photo], photo: Photo) -> tuple[Photo, ...]:
    """All frames of a photo's burst in the order of their taking, the photo alone where it is of none."""
    if not photo.burst:
        return (photo,)
    return tuple(one for one in photos if one.burst == photo.burst and not one.removed) or (photo,)


def one_a_burst(shown: Iterable[Shown], marked: Collection[int]) -> list[Shown]:
    """Of each burst the frame that leads, and those that somebody marked."""
    led: set[str] = set()
    kept = []
    for one in shown:
        burst = one.photo.burst
        if not burst or burst not in led or one.photo.id in marked:
            kept.append(one)
        led.add(burst)
    return kept


def find_still(photos: Iterable[Photo], photo: Photo) -> Photo | None:
    """The newest photo of the same view and part that was taken of the standing car in still air."""
    alike = [one for one in photos if one.standing and not one.removed and one.kind == "photo" and one.id != photo.id]
    same = [one for one in alike if one.view and (one.view, one.part) == (photo.view, photo.part)]
    return max(same, key=lambda one: (one.taken, one.id), default=None)


def name_bursts(session: Session, day: Day, day_id: int, fresh: Collection[int], *, how: How, who: str) -> int:
    """Say of photos that have just come which of them are one burst; gives how many bursts there are."""
    from server.tufts.changing import change_photo

    photos = [one for one in photos_of(session, day, day_id) if one.kind == "photo"]
    came = [one for one in photos if one.id in fresh]
    groups = [came] if how == "together" else _by_time(photos) if how == "by-time" else []
    named = 0
    for group in groups:
        loose = [one for one in group if not one.burst and one.id in fresh]
        known = next((one.burst for one in group if one.burst), "")
        if not loose or len(group) < LEAST_FRAMES:
            continue
        name, why = known or f"burst {group[0].id}", TOGETHER if how == "together" else BY_TIME
        for one in loose:
            change_photo(session, day, one, who=who, burst=name, reason=why)
        named += 1
    return named


def _by_time(photos: Sequence[Photo]) -> list[list[Photo]]:
    """Photos of one camera, view, part and size, each taken soon after the one before."""
    groups: dict[tuple[object, ...], list[list[Photo]]] = {}
    for one in photos:
        moment = _moment(one.taken)
        if moment is None or one.standing:
            continue
        mine = groups.setdefault((one.camera, one.view, one.part, one.width_px, one.height_px), [[]])
        last = _moment(mine[-1][-1].taken) if mine[-1] else None
        if last is not None and (moment - last).total_seconds() > APART_S:
            mine.append([])
        mine[-1].append(one)
    return [group for mine in groups.values() for group in mine]


def _moment(taken: str) -> dt.datetime | None:
    try:
        return dt.datetime.fromisoformat(taken)
    except ValueError:
        return None
