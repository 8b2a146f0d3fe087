"""What a person says of photos, camera clocks, stations and views; each a new row, the one before stays readable."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from server.archive.database import now_utc
from server.errors import StillairError
from server.testday.tufts import PointPair, TuftStation
from server.testday.values import Day
from server.tufts.adding_job import check_facts
from server.tufts.keeping import keep
from server.tufts.run_by_time import run_by_time
from server.tufts.service import Photo, next_number, photos_of
from server.tufts.tables import TuftCamera, TuftPhotoFacts, TuftStations, TuftView

UNCHANGED = "Nothing would change by that."
LEAST_PAIRS = 4
DIGITS = {"x_m": 7, "y_m": 7, "direction_rad": 5}  # what a day's folder writes
TOO_FEW = "{count} point{s} found on both; the part needs at least four, well apart."
WIDEST_AHEAD_S = 400 * 86400.0
SAID = ("run", "setup", "part", "view", "notes", "settled", "standing", "flow_rad", "burst", "removed")
CHANGED = "Somebody changed what is said of this photo meanwhile; look at it, then try again."


def change_photo(
    session: Session, day: Day, photo: Photo, *, who: str, reason: str = "", expected: int | None = None, **said: Any
) -> None:
    """Say something else of a photo: any of SAID. Raises StillairError."""
    if expected not in (None, photo.number):
        raise StillairError(CHANGED)
    before = _own_setup({name: getattr(photo, name) for name in SAID})
    after = _own_setup({**before, **said})
    check_facts(day, run=after["run"], setup=after["setup"])
    if after == before:
        raise StillairError(UNCHANGED)
    number = next_number(session, TuftPhotoFacts, photo_id=photo.id)
    row = TuftPhotoFacts(photo_id=photo.id, number=number, **after, who=who, made_at=now_utc())
    keep(session, [row], day_id=photo.day_id, subject=photo.subject, who=who, reason=reason)


def _own_setup(said: dict[str, Any]) -> dict[str, Any]:
    """A photo of a run has the run's setup and none of its own."""
    return {**said, "setup": ""} if said["run"] is not None else said


def set_camera_clock(session: Session, day: Day, day_id: int, camera: str, ahead_s: float, *, who: str) -> int:
    """Say how far a camera's clock is ahead; photos whose run nobody said follow it. Gives how many moved."""
    if not math.isfinite(ahead_s) or abs(ahead_s) > WIDEST_AHEAD_S:
        raise StillairError("A clock that is more than a year out says nothing of the time.")
    number = next_number(session, TuftCamera, day_id=day_id, camera=camera)
    row = TuftCamera(day_id=day_id, camera=camera, number=number, ahead_s=ahead_s, who=who, made_at=now_utc())
    keep(session, [row], day_id=day_id, subject=f"clock of {camera or 'an unnamed camera'}", who=who)
    moved = 0
    for photo in photos_of(session, day, day_id):
        if photo.camera == camera and photo.kind == "photo" and not photo.settled:
            run = run_by_time(day, photo.taken, ahead_s)
            if run != photo.run:
                change_photo(session, day, photo, who=who, run=run, reason="the camera's clock")
                moved += 1
    return moved


def set_stations(
    session: Session, day: Day, day_id: int, stations: Sequence[TuftStation], *,
    setup: str = "", source: str = "", plan_photo_id: int | None = None, who: str,
) -> list[TuftStations]:  # fmt: skip
    """The stations of each part that is named take the place of those before. Raises StillairError."""
    check_facts(day, run=None, setup=setup)
    rows = []
    for part in dict.fromkeys(one.part for one in stations):
        of_part = [_plain(one) for one in stations if one.part == part]
        number = next_number(session, TuftStations, day_id=day_id, part=part, setup=setup)
        rows.append(
            TuftStations(
                day_id=day_id,
                part=part,
                setup=setup,
                number=number,
                source=source,
                plan_photo_id=plan_photo_id,
                stations=of_part,
                who=who,
                made_at=now_utc(),
            )
        )
    if not rows:
        raise StillairError("No station was given.")
    keep(session, rows, day_id=day_id, subject=", ".join(row.part for row in rows), who=who)
    return rows


def _plain(station: TuftStation) -> dict[str, Any]:
    kept = {name: value for name, value in dataclasses.asdict(station).items() if name not in ("part", "setup")}
    rounded = {name: round(kept[name], digits) for name, digits in DIGITS.items() if kept[name] is not None}
    return {**kept, **rounded}


def set_view(
    session: Session, photo: Photo, pairs: Sequence[PointPair], *, who: str, view: str = "", part: str = ""
) -> TuftView:
    """How a part lies on the photos of a view, by points found on one of them: the photo's own where none is named.

    Raises StillairError.
    """
    view, part = view or photo.view, part or photo.part
    if not (view and part):
        raise StillairError("Name the photo's part and camera view first; the points belong to both.")
    if len(pairs) < LEAST_PAIRS:
        count = len(pairs)
        raise StillairError(TOO_FEW.format(count=count or "No", s=" was" if count == 1 else "s were"))
    number = next_number(session, TuftView, day_id=photo.day_id, view=view, part=part)
    row = TuftView(
        day_id=photo.day_id,
        view=view,
        part=part,
        number=number,
        photo_id=photo.id,
        pairs=[dataclasses.asdict(pair) for pair in pairs],
        who=who,
        made_at=now_utc(),
    )
    keep(session, [row], day_id=photo.day_id, subject=f"{part} on view {view}", who=who)
    return row
