"""The job that takes photos into a day: each decoded within bounds; what is no picture is told of, the rest is kept."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.archive.jobs import JobKind, add_job, find_job, new_job_id
from server.archive.raw_files import RawStore
from server.archive.store_address import open_raw
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.days.adding_runs import free_paths
from server.days.job_view import PHOTOS_JOB as ADD_PHOTOS
from server.days.revisions import newest_day
from server.days.service import newest_revision
from server.errors import StillairError
from server.testday.values import Day
from server.tufts.bursts import name_bursts
from server.tufts.keeping import keep
from server.tufts.pictures import make_pictures
from server.tufts.run_by_time import run_by_time
from server.tufts.service import camera_clocks, newest_facts
from server.tufts.tables import PHOTO_KINDS, TuftPhoto, TuftPhotoFacts
from server.uploads.service import received_upload

ANSWER = "answer"  # what the job's payload gains: {"problems": [sentence], "photos": [number]}
FOLDER = "tufts"
MOST_FILES = 100
BURSTS = ("by-time", "together", "apart")  # by the camera's clock, all that are sent, none
LONGEST, LONGEST_NOTES = 120, 4000
NOTHING = "No file was sent; choose at least one photo."
MANY = f"At most {MOST_FILES} photos are added at once; send the rest after these."


@dataclass(frozen=True, slots=True)
class SentPhotos:
    """What was sent with one form. run: None where the camera's clock is to say; files: (upload, name, SHA-256)."""

    files: tuple[tuple[str, str, str], ...]
    kind: str = "photo"
    part: str = ""
    view: str = ""
    run: int | None = None
    setup: str = ""
    notes: str = ""
    burst: str = "by-time"


def sent_photos(session: Session, uploads: Sequence[str], day: Day, **facts: Any) -> SentPhotos:
    """Photos that have come in as uploads, with what was said of them. Raises StillairError, UploadError."""
    if not uploads:
        raise StillairError(NOTHING)
    if len(uploads) > MOST_FILES:
        raise StillairError(MANY)
    rows = [received_upload(session, one) for one in uploads]
    sent = SentPhotos(tuple((row.id, row.name, row.sha256 or "") for row in rows), **facts)
    check_facts(day, run=sent.run, setup=sent.setup)
    if sent.kind not in PHOTO_KINDS:
        raise StillairError(f"“{sent.kind[:40]}” is no kind of picture; one of {', '.join(PHOTO_KINDS)} is.")
    if sent.burst not in BURSTS:
        raise StillairError(f"“{sent.burst[:40]}” is no way to tell a burst; one of {', '.join(BURSTS)} is.")
    return sent


def check_facts(day: Day, *, run: int | None, setup: str) -> None:
    """Raises StillairError where the day has no such run or setup."""
    if run is not None and run not in {one.number for one in day.runs}:
        raise StillairError(f"This day has no run {run}.")
    if setup and setup not in {one.name for one in day.setups}:
        raise StillairError(f"This day has no setup “{setup[:60]}”.")


def queue_photos(archive: Archive, session: Session, day_id: int, sent: SentPhotos, who: str) -> str:
    """Queue the decoding of photos; gives the job."""
    newest_revision(session, day_id)
    job_id = new_job_id()
    payload = {
        "job_id": job_id,
        "data": str(archive.folder),
        "raw": archive.raw.address,
        "day_id": day_id,
        "sent": asdict(sent),
        "who": who,
    }
    label = sent.files[0][1] if len(sent.files) == 1 else f"{len(sent.files)} photos"
    lane = free_lane(session)
    add_job(session, ADD_PHOTOS, f"{label} to be added", payload, job_id, lane=lane, day_id=day_id, who=who)
    return job_id


def free_lane(session: Session) -> str:
    """A photo takes a second: it stands behind a fit only where both lanes are busy."""
    busy = set(session.scalars(select(Job.lane).where(Job.state.in_(("queued", "running")))))
    return "long" if busy == {"quick"} else "quick"


def add_photos_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: decode every file; gives what is known of each, or why it is none."""
    files, raw, found = payload["sent"]["files"], open_raw(payload["raw"]), []
    for place, (_, name, sha256) in enumerate(files):
        progress(0.02 + 0.96 * place / len(files), f"looking at {name}")
        found.append(look_at(Path(payload["data"]), raw, name, sha256))
    return {"found": found}


def look_at(data_folder: Path, raw: RawStore, name: str, sha256: str) -> dict[str, Any]:
    """What is known of a picture, its sizes made; or {"problem": sentence}."""
    try:
        return asdict(make_pictures(data_folder, raw, sha256, name))
    except StillairError as refusal:
        return {"problem": str(refusal)}


def keep_added_photos(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: keep those that are pictures; what became of each stands with the job; gives the day's number."""
    day_id, sent = int(payload["day_id"]), payload["sent"]
    _, day = newest_day(archive, session, day_id)
    answer: dict[str, list[Any]] = {"problems": [], "photos": []}
    for (_, name, sha256), facts in zip(sent["files"], outcome["found"], strict=True):
        if "problem" in facts:
            answer["problems"].append(facts["problem"])
            continue
        said = {**sent, "settled": sent["run"] is not None, "burst": ""}
        coming = Coming(name=name, sha256=sha256, picture=facts, said=said)
        try:
            answer["photos"].append(keep_photo(session, day, day_id, coming, who=payload["who"]).id)
        except StillairError as refusal:
            answer["problems"].append(str(refusal))
    how = sent.get("burst", "by-time")
    name_bursts(session, day, day_id, answer["photos"], how=how, who=payload["who"])
    job = find_job(session, payload["job_id"])
    job.payload = {**payload, ANSWER: answer}
    return str(day_id)


@dataclass(frozen=True, slots=True)
class Coming:
    """A picture that is to be kept. picture: as PictureFacts; said: run, setup, part, view, notes and the like."""

    name: str
    sha256: str
    picture: Mapping[str, Any]
    said: Mapping[str, Any]
    path: str = ""


def keep_photo(session: Session, day: Day, day_id: int, coming: Coming, *, who: str) -> TuftPhoto:
    """A photo and what is said of it; its run is proposed by its time where nobody said one. Raises StillairError."""
    known = session.scalar(select(TuftPhoto).where(TuftPhoto.day_id == day_id, TuftPhoto.sha256 == coming.sha256))
    if known is not None:
        removed = newest_facts(session, day_id)[known.id].removed
        and_now = "taken out; its page puts it back" if removed else "not added again"
        raise StillairError(f"{coming.name} is here already as photo {known.id}, {and_now}.")
    taken_paths = list(session.scalars(select(TuftPhoto.path).where(TuftPhoto.day_id == day_id)))
    path = coming.path or free_paths(taken_paths, [coming.name], FOLDER)[0]
    row = TuftPhoto(
        day_id=day_id,
        kind=coming.said.get("kind", "photo"),
        sha256=coming.sha256,
        name=coming.name,
        path=path,
        **{key: coming.picture[key] for key in ("width_px", "height_px", "taken", "camera", "said")},
        who=who,
        made_at=now_utc(),
    )
    keep(session, [row], day_id=day_id, subject=coming.name, who=who)
    keep(session, [_first_facts(session, day, row, coming)], day_id=day_id, subject=coming.name, who=who)
    return row


def _first_facts(session: Session, day: Day, row: TuftPhoto, coming: Coming) -> TuftPhotoFacts:
    said = coming.said
    run = said.get("run")
    if run is None and row.kind == "photo" and not said.get("settled"):
        run = run_by_time(day, row.taken, camera_clocks(session, row.day_id).get(row.camera, 0.0))
    return TuftPhotoFacts(
        photo_id=row.id,
        number=1,
        run=run,
        settled=bool(said.get("settled")),
        standing=bool(said.get("standing")),
        flow_rad=said.get("flow_rad"),
        removed=False,
        **{key: said.get(key) or "" for key in ("setup", "part", "view", "notes", "burst")},
        who=row.who,
        made_at=now_utc(),
    )


def mark_name(text: str) -> str:
    """A name of a mark or entry that is the same for the same text, as for what a folder brings."""
    return hashlib.sha256(text.encode()).hexdigest()[:32]


ADDING_PHOTOS = {ADD_PHOTOS: JobKind(add_photos_work, keep_added_photos)}
