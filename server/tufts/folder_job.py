"""The job that makes photos, marks, stations and views of what a day's folder came with."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.jobs import Finish, JobKind, add_job, find_job, new_job_id
from server.archive.store_address import open_raw
from server.archive.tables import Job
from server.archive.worker import Payload, Progress
from server.days.facts import newest_revisions
from server.days.job_view import FOLDER_PHOTOS_JOB
from server.days.revisions import newest_day
from server.days.service import FIT_JOB, lay_out, newest_revision, revision_files
from server.days.tables import DayRevision, RevisionFile
from server.testday.folder_tufts import FOLDER, PHOTOS, FolderMark, FolderPhoto, FolderTufts, read_tufts
from server.testday.values import Day
from server.tufts.adding_job import ANSWER, Coming, free_lane, keep_photo, look_at, mark_name
from server.tufts.changing import set_stations, set_view
from server.tufts.marking import MarkEntry, keep_marks
from server.tufts.service import DETAILS, MACHINE, find_photo
from server.tufts.tables import TuftPhoto

NAMES = re.compile(r"[A-Za-z0-9-]{8,40}")
NOBODYS = "as the folder had them"
OUTSIDE = "{count} of the marks of “{reader}” lie outside {name} and were left out."


def queue_folder_photos(archive: Archive, session: Session, day_id: int, who: str = "") -> str | None:
    """Queue it where the day's folder holds photos that are not in the tables yet; gives the job."""
    files = revision_files(session, newest_revision(session, day_id).id)
    mine = {path: sha256 for path, sha256 in files.items() if path == PHOTOS or path.startswith(f"{FOLDER}/")}
    seen = select(Job.id).where(Job.kind == FOLDER_PHOTOS_JOB, Job.day_id == day_id).limit(1)
    if not mine or session.scalar(select(TuftPhoto.id).where(TuftPhoto.day_id == day_id)) or session.scalar(seen):
        return None
    job_id = new_job_id()
    payload = {
        "job_id": job_id,
        "scratch": str(archive.incoming(job_id)),
        "data": str(archive.folder),
        "raw": archive.raw.address,
        "day_id": day_id,
        "files": mine,
        "who": who,
    }
    lane = free_lane(session)
    add_job(session, FOLDER_PHOTOS_JOB, "photos of the folder", payload, job_id, lane=lane, day_id=day_id, who=who)
    return job_id


def folder_problems(session: Session, day_id: int) -> tuple[str, ...]:
    """What of the day's folder could not be taken."""
    chosen = select(Job).where(Job.kind == FOLDER_PHOTOS_JOB, Job.day_id == day_id).order_by(Job.created_at.desc())
    job = session.scalar(chosen.limit(1))
    if job is None:
        return ()
    return (job.error or "",) if job.state == "failed" else tuple(job.payload.get(ANSWER, {}).get("problems", ()))


def queue_missing_photos(archive: Archive) -> None:
    """At the start: of days that came in before anybody looked at their photos."""
    held = select(RevisionFile.revision_id).where(RevisionFile.path.startswith(f"{FOLDER}/")).distinct()
    with archive.database.reading() as session:
        newest = set(newest_revisions(session).values())
        waiting = [one for one in session.scalars(held) if one in newest]
        days = list(session.scalars(select(DayRevision.day_id).where(DayRevision.id.in_(waiting))))
    for day_id in days:
        with archive.database.writing() as session:
            queue_folder_photos(archive, session, day_id)


def with_folder_photos(kinds: Mapping[str, JobKind]) -> dict[str, JobKind]:
    """The kinds of jobs, the one that keeps a new day queueing the photos that came with it."""
    chosen = {name: kind for name, kind in kinds.items() if name == FIT_JOB}
    return {**kinds, **{name: replace(kind, finish=_then_photos(kind.finish)) for name, kind in chosen.items()}}


def _then_photos(finish: Finish) -> Finish:
    def both(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
        day_id = finish(archive, session, payload, outcome)
        if day_id.isascii() and day_id.isdigit():
            queue_folder_photos(archive, session, int(day_id), payload.get("who", ""))
        return day_id

    return both


def folder_photos_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: read the tables, decode the photos; path → what is known of each."""
    folder, raw = Path(payload["scratch"]) / "day", open_raw(payload["raw"])
    shutil.rmtree(folder, ignore_errors=True)  # of a start that was interrupted
    for path, sha256 in payload["files"].items():
        lay_out(raw, sha256, folder / path)
    photos = read_tufts(folder).photos
    found = {}
    for place, one in enumerate(photos):
        progress(0.05 + 0.9 * place / len(photos), f"looking at {one.path}")
        found[one.path] = look_at(Path(payload["data"]), raw, Path(one.path).name, payload["files"][one.path])
    return {"found": found}


def keep_folder_photos(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: keep all of it in one transaction; a photo that is none is left out with its marks."""
    day_id, who = int(payload["day_id"]), payload["who"]
    _, day = newest_day(archive, session, day_id)
    tufts = read_tufts(Path(payload["scratch"]) / "day")
    kept: dict[str, int] = {}
    problems = []
    for one in tufts.photos:
        facts = outcome["found"][one.path]
        if "problem" in facts:
            problems.append(facts["problem"])
        else:
            coming = Coming(Path(one.path).name, payload["files"][one.path], facts, _said(day, one), one.path)
            kept[one.path] = keep_photo(session, day, day_id, coming, who=one.who or who).id
    for setup in dict.fromkeys(one.setup for one in tufts.stations):
        mine = [one for one in tufts.stations if one.setup == setup]
        set_stations(session, day, day_id, mine, setup=setup, source="the day’s folder", who=who)
    problems += _keep_marks(session, day, day_id, tufts, kept, who=who)
    for view in (one for one in tufts.views if one.photo in kept):
        photo = find_photo(session, day, day_id, kept[view.photo])
        set_view(session, photo, view.pairs, who=who, view=view.view, part=view.part)
    job = find_job(session, payload["job_id"])
    job.payload = {**payload, ANSWER: {"problems": problems, "photos": list(kept.values())}}
    return str(day_id)


def _said(day: Day, one: FolderPhoto) -> dict[str, Any]:
    runs, setups = {run.number for run in day.runs}, {setup.name for setup in day.setups}
    names = ("kind", "part", "view", "settled", "standing", "flow_rad", "burst", "notes")
    said = {name: getattr(one, name) for name in names}
    run, setup = one.run if one.run in runs else None, one.setup if one.setup in setups else ""
    return {**said, "run": run, "setup": setup, "settled": one.settled and run is not None}


def _keep_marks(
    session: Session, day: Day, day_id: int, tufts: FolderTufts, kept: Mapping[str, int], *, who: str
) -> list[str]:
    """Reading by reading; gives a sentence for each whose marks lie outside their picture."""
    outside = []
    for path, reader in dict.fromkeys((one.photo, one.reader) for one in tufts.marks if one.photo in kept):
        photo = find_photo(session, day, day_id, kept[path])
        mine = [one for one in tufts.marks if (one.photo, one.reader) == (path, reader)]
        inside = [one for one in mine if one.mark.x_px <= photo.width_px and one.mark.y_px <= photo.height_px]
        if len(inside) < len(mine):
            outside.append(OUTSIDE.format(count=len(mine) - len(inside), reader=reader or NOBODYS, name=photo.name))
        entries, layer = [_entry(one) for one in inside], reader or NOBODYS
        keep_marks(session, photo, layer, entries, who=who or layer, by_program=reader == MACHINE)
    return outside


def _entry(one: FolderMark) -> MarkEntry:
    mark = one.mark
    name = one.name if NAMES.fullmatch(one.name) else mark_name(f"{one.reader} {one.name}")
    return MarkEntry(
        entry=mark_name(f"{one.photo} {one.reader} {name}"),
        mark=name,
        x_px=mark.x_px,
        y_px=mark.y_px,
        direction_rad=mark.direction_rad,
        condition=mark.condition or "",
        station=mark.station or "",
        by=mark.by,
        detail={key: value for key in DETAILS if (value := getattr(mark, key)) is not None},
    )


FOLDER_PHOTOS = {FOLDER_PHOTOS_JOB: JobKind(folder_photos_work, keep_folder_photos)}
