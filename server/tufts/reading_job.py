"""The job that reads tufts off a photo: what it finds are proposals, which a person accepts, corrects or leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.events import PROGRAM
from server.archive.jobs import JobKind, add_job, find_job, new_job_id
from server.archive.store_address import open_raw
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.days.job_view import TUFTS_JOB
from server.days.revisions import newest_day
from server.errors import StillairError
from server.tufts.adding_job import ANSWER, free_lane, mark_name
from server.tufts.marking import MarkEntry, keep_marks
from server.tufts.pictures import shown_picture
from server.tufts.placing import placed_stations
from server.tufts.service import DETAILS, MACHINE, Photo, find_photo, layers_of

MOST_READ_PIXELS = 50_000_000
FOUND_NOTHING = "The program found nothing on this photo that looks like a tuft; mark it by hand."


def queue_reading(archive: Archive, session: Session, photo: Photo, who: str) -> str:
    """Queue the reading of a photo; gives the job."""
    job_id = new_job_id()
    stations = placed_stations(session, photo)
    payload = {
        "job_id": job_id,
        "data": str(archive.folder),
        "raw": archive.raw.address,
        "photo": {"id": photo.id, "sha256": photo.sha256, "name": photo.name, "width": photo.width_px},
        "size": "full" if photo.width_px * photo.height_px <= MOST_READ_PIXELS else "near",
        "roots": [[one.mark.x_px, one.mark.y_px] for one in stations],
        "stations": [one.station.name for one in stations],
        "flow_rad": photo.flow_rad,
        "day_id": photo.day_id,
        "who": who,
    }
    label = f"tufts of {photo.name} to be read"
    add_job(session, TUFTS_JOB, label, payload, job_id, lane=free_lane(session), day_id=photo.day_id, who=who)
    return job_id


def read_tufts_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: read the picture as it is shown; gives marks and what limits them."""
    import numpy as np
    from PIL import Image

    from server.analysis.tuft_reading import read_tufts

    progress(0.05, "opening the photo")
    photo, raw = payload["photo"], open_raw(payload["raw"])
    name, size = photo["name"], payload["size"]
    file = shown_picture(Path(payload["data"]), raw, photo["sha256"], name=name, size=size)
    with Image.open(file, formats=("JPEG",)) as image:
        values = np.asarray(image)
    scale = photo["width"] / values.shape[1]
    progress(0.2, "looking for tufts")
    roots = [[x / scale, y / scale] for x, y in payload["roots"]] or None
    found = read_tufts(values, roots, payload["stations"], payload["flow_rad"])
    return {"marks": [_as_json(asdict(mark), scale) for mark in found.marks], "said": list(found.said)}


def _as_json(mark: dict[str, Any], scale: float) -> dict[str, Any]:
    lengths = {name: mark[name] * scale for name in ("x_px", "y_px", "length_px") if mark[name] is not None}
    return {**mark, **lengths}


def keep_reading(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: the proposals take the place of those before; what people marked is not touched."""
    day_id, number = int(payload["day_id"]), int(payload["photo"]["id"])
    _, day = newest_day(archive, session, day_id)
    photo = find_photo(session, day, day_id, number)
    fresh = keep_proposals(session, photo, payload["job_id"], outcome["marks"])
    said = list(outcome["said"]) or ([] if fresh else [FOUND_NOTHING])
    job = find_job(session, payload["job_id"])
    job.payload = {**payload, ANSWER: {"said": said, "marks": fresh}}
    return str(day_id)


def keep_proposals(session: Session, photo: Photo, job_id: str, marks: Sequence[dict[str, Any]]) -> int:
    """What a job proposes takes the place of what was proposed before; gives how many."""
    before = layers_of(session, [photo.id]).get(photo.id, {}).get(MACHINE, [])
    gone = [
        MarkEntry(
            entry=mark_name(f"{job_id} {one.key} gone"),
            mark=one.key,
            x_px=one.mark.x_px,
            y_px=one.mark.y_px,
            by="machine",
            removed=True,
        )
        for one in before
    ]
    fresh = [_entry(job_id, place, mark, photo) for place, mark in enumerate(marks)]
    keep_marks(session, photo, MACHINE, [*gone, *fresh], who=PROGRAM, by_program=True)
    return len(fresh)


def _entry(job_id: str, place: int, mark: dict[str, Any], photo: Photo) -> MarkEntry:
    return MarkEntry(
        entry=mark_name(f"{job_id} {place}"),
        mark=mark_name(f"{job_id} mark {place}"),
        x_px=min(max(mark["x_px"], 0.0), photo.width_px),
        y_px=min(max(mark["y_px"], 0.0), photo.height_px),
        direction_rad=mark["direction_rad"],
        condition=mark["condition"] or "",
        station=mark["station"] or "",
        by="machine",
        detail={name: mark[name] for name in DETAILS if mark[name] is not None},
    )


def reading_of(session: Session, photo: Photo) -> Job | None:
    """The newest reading of a photo, waiting, running or ended."""
    mine = Job.payload["photo"]["id"].as_integer() == photo.id
    chosen = select(Job).where(Job.kind == TUFTS_JOB, Job.day_id == photo.day_id, mine)
    return session.scalar(chosen.order_by(Job.created_at.desc(), Job.id.desc()).limit(1))


def reading_said(job: Job | None) -> tuple[str, ...]:
    """What limits the newest reading, or why there is none."""
    if job is None or job.state not in ("done", "failed"):
        return ()
    return (job.error or "",) if job.state == "failed" else tuple(job.payload.get(ANSWER, {}).get("said", ()))


def find_reading(session: Session, photo: Photo, job_id: str) -> Job:
    """A reading of this photo by its job. Raises StillairError."""
    job = find_job(session, job_id)
    if job.kind != TUFTS_JOB or job.payload["photo"]["id"] != photo.id:
        raise StillairError("No reading of this photo goes by that address.")
    return job


READING_TUFTS = {TUFTS_JOB: JobKind(read_tufts_work, keep_reading)}
