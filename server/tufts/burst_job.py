"""The job that reads a burst: its frames laid over each other; what it finds are proposals on the frame that leads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.analysis.tuft_limits import LEAST_FRAMES, MOST_FRAMES
from server.archive.archive import Archive
from server.archive.jobs import JobKind, add_job, find_job, new_job_id
from server.archive.raw_files import RawStore
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.days.job_view import BURST_JOB
from server.days.revisions import newest_day
from server.errors import StillairError
from server.tufts.adding_job import ANSWER, free_lane, mark_name
from server.tufts.pictures import shown_picture
from server.tufts.placing import placed_stations
from server.tufts.reading_job import MOST_READ_PIXELS, keep_proposals
from server.tufts.service import Photo, find_photo

if TYPE_CHECKING:
    from server.analysis.tuft_burst_reading import Frame, ToldTuft

TOO_FEW = f"A burst needs at least {LEAST_FRAMES} photos of one view, taken within seconds."
NOTHING = "The program found no tuft on these frames; mark them by hand."
SHORT_SIDE = "near"  # the size read where a frame is too large to be read in full
TOLD = ("spread_rad", "low_rad", "high_rad", "n")


def queue_burst(
    archive: Archive, session: Session, frames: Sequence[Photo], still: Photo | None, who: str
) -> str:
    """Queue the reading of a burst; gives the job. Raises StillairError where it has too few frames."""
    if len(frames) < LEAST_FRAMES:
        raise StillairError(TOO_FEW)
    lead, job_id = frames[0], new_job_id()
    stations = placed_stations(session, lead)
    payload = {
        "job_id": job_id,
        "data": str(archive.folder),
        "raw": str(archive.raw.folder),
        "photo": _named(lead),
        "frames": [_named(one) for one in frames[:MOST_FRAMES]],
        "still": _named(still) if still is not None else None,
        "roots": [[one.mark.x_px, one.mark.y_px] for one in stations],
        "stations": [one.station.name for one in stations],
        "flow_rad": lead.flow_rad,
        "day_id": lead.day_id,
        "who": who,
    }
    label = f"burst of {len(payload['frames'])} photos to be read"
    add_job(session, BURST_JOB, label, payload, job_id, lane=free_lane(session), day_id=lead.day_id, who=who)
    return job_id


def _named(one: Photo) -> dict[str, Any]:
    size = "full" if one.width_px * one.height_px <= MOST_READ_PIXELS else SHORT_SIDE
    return {"id": one.id, "sha256": one.sha256, "name": one.name, "width": one.width_px, "size": size}


def read_burst_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: look at each frame, then tell the tufts over all of them."""
    from server.analysis.tuft_burst_reading import read_burst

    frames, looked = payload["frames"], []
    for place, one in enumerate(frames):
        progress(0.05 + 0.85 * place / len(frames), f"frame {place + 1} of {len(frames)}")
        looked.append(_looked_at(payload, one, leads=place == 0))
    still = _looked_at(payload, payload["still"], leads=False) if payload["still"] else None
    progress(0.95, "laying them over each other")
    found = read_burst(looked, payload["flow_rad"], still)
    scale = payload["photo"]["width"] / looked[0].shape[1]
    return {"tufts": [_as_json(one, scale) for one in found.tufts], "said": list(found.said), "frames": found.frames}


def _looked_at(payload: Payload, one: dict[str, Any], *, leads: bool) -> Frame:
    import numpy as np
    from PIL import Image

    from server.analysis.tuft_burst_reading import Frame

    raw = RawStore(Path(payload["raw"]))
    file = shown_picture(Path(payload["data"]), raw, one["sha256"], name=one["name"], size=one["size"])
    with Image.open(file, formats=("JPEG",)) as image:
        values = np.asarray(image)
    scale = one["width"] / values.shape[1]
    roots = [[x / scale, y / scale] for x, y in payload["roots"]] if leads else []
    return Frame.of(values, roots or None, payload["stations"] if roots else ())


def _as_json(one: ToldTuft, scale: float) -> dict[str, Any]:
    mark = asdict(one.tuft.mark)
    lengths = {name: mark[name] * scale for name in ("x_px", "y_px", "length_px") if mark[name] is not None}
    told = {name: getattr(one.tuft.unsteady, name) for name in TOLD}
    told["high_rad"] = min(told["high_rad"], 10.0)  # JSON has no infinity; more than a whole turn is any
    told |= {"still_rad": one.still_rad, "open": one.open}
    return {"mark": {**mark, **lengths, "condition": one.condition}, "told": told}


def keep_burst(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: proposals on the frame that leads take the place of those before; what people marked stays."""
    day_id = int(payload["day_id"])
    _, day = newest_day(archive, session, day_id)
    photo = find_photo(session, day, day_id, int(payload["photo"]["id"]))
    keep_proposals(session, photo, payload["job_id"], [one["mark"] for one in outcome["tufts"]])
    told = {mark_name(f"{payload['job_id']} mark {place}"): one["told"] for place, one in enumerate(outcome["tufts"])}
    said = list(outcome["said"]) or ([] if told else [NOTHING])
    job = find_job(session, payload["job_id"])
    job.payload = {**payload, ANSWER: {"said": said, "told": told, "frames": outcome["frames"]}}
    return str(day_id)


def burst_reading_of(session: Session, lead: Photo) -> Job | None:
    """The newest reading of a burst, waiting, running or ended."""
    mine = Job.payload["photo"]["id"].as_integer() == lead.id
    chosen = select(Job).where(Job.kind == BURST_JOB, Job.day_id == lead.day_id, mine)
    return session.scalar(chosen.order_by(Job.created_at.desc(), Job.id.desc()).limit(1))


def find_burst_reading(session: Session, photo: Photo, job_id: str) -> Job:
    """A reading of this photo's burst by its job. Raises StillairError."""
    job = find_job(session, job_id)
    if job.kind != BURST_JOB or photo.id not in {one["id"] for one in job.payload["frames"]}:
        raise StillairError("No reading of this burst goes by that address.")
    return job


READING_BURSTS = {BURST_JOB: JobKind(read_burst_work, keep_burst)}
