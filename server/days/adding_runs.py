"""Logs that are added to a day: what was sent about each, looked at before anything is read, and the job that reads."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.jobs import add_job, new_job_id
from server.archive.tables import Job
from server.days import run_forms, setup_forms
from server.days.channel_changes import column_text
from server.days.column_choices import choices
from server.days.day_shelf import stored_day
from server.days.form_fields import FieldError, Typed
from server.days.incoming import safe_name
from server.days.service import newest_revision, revision_files
from server.errors import StillairError
from server.testday.roles import ROLE_NAMES
from server.testday.values import Day, LogFile, Run, Setup
from server.uploads.service import received_upload

ADD_RUNS = "add-runs"
NEW_SETUP = "+"  # the setup that is described beside the rows
DATABASE_ENDS = (".dbc", ".kcd", ".sym", ".arxml")
FACTS = ("setup", "start", "driver", "direction", "coasting", "notes")
NEW_FACTS = ("name", "baseline", "parts")
MOST_FILES = 100
NOTHING = "No file was sent; choose at least one logger file."
MANY = f"At most {MOST_FILES} files are added at once; send the rest after these."


@dataclass(frozen=True, slots=True)
class SentRow:
    """One file and what was typed about it. answers: role → column, said where the log itself was not clear."""

    upload_id: str
    name: str
    sha256: str
    facts: dict[str, str]
    answers: dict[str, str] = field(default_factory=dict)

    @property
    def is_database(self) -> bool:
        """Whether it says what the frames of bus logs carry, by its name."""
        return self.name.lower().endswith(DATABASE_ENDS)

    @property
    def typed(self) -> Typed:
        """As a form's fields."""
        return {name: (text,) for name, text in self.facts.items()}


@dataclass(frozen=True, slots=True)
class Sent:
    """All that was sent with one form. new_setup: name, baseline and parts of a setup that is new with it."""

    rows: tuple[SentRow, ...]
    new_setup: dict[str, str]

    @property
    def brings_setup(self) -> bool:
        """Whether a row is in the new setup."""
        return any(row.facts["setup"] == NEW_SETUP for row in self.rows if not row.is_database)

    def as_json(self) -> dict[str, Any]:
        """For the job."""
        return dataclasses.asdict(self)


def sent_from(kept: Mapping[str, Any]) -> Sent:
    """What a job keeps of it."""
    return Sent(tuple(SentRow(**row) for row in kept["rows"]), dict(kept["new_setup"]))


def sent_of(archive: Archive, typed: Typed) -> Sent:
    """Read the form: lists that stand side by side, a place a file. Raises UploadError, StillairError."""
    left_out = _at(typed, "leave_out", 0)
    ids = [(n, one) for n, one in enumerate(typed.get("log_upload", ())) if one and one != left_out]
    if not ids:
        raise StillairError(NOTHING)
    if len(ids) > MOST_FILES:
        raise StillairError(MANY)
    with archive.database.reading() as session:
        uploads = [(place, received_upload(session, one)) for place, one in ids]
        rows = tuple(
            SentRow(one.id, one.name, one.sha256 or "", _facts(typed, place), _answers(typed, one.id))
            for place, one in uploads
        )
    return Sent(rows, {name: _at(typed, f"new_{name}", 0) for name in NEW_FACTS})


def _at(typed: Typed, name: str, place: int) -> str:
    values = typed.get(name, ())
    return values[place].strip() if place < len(values) else ""


def _facts(typed: Typed, place: int) -> dict[str, str]:
    return {name: _at(typed, f"log_{name}", place) for name in FACTS}


def _answers(typed: Typed, upload_id: str) -> dict[str, str]:
    """role → column, with the unit behind it where one was said; fields are called role:UPLOAD:ROLE.

    Raises StillairError for a unit that is none.
    """
    lead = f"role:{upload_id}:"
    answers = {}
    for name, values in typed.items():
        role = name.removeprefix(lead)
        if name.startswith(lead) and role in ROLE_NAMES and values[0]:
            answers[role] = column_text(role, values[0], _at(typed, f"unit:{upload_id}:{role}", 0))
    return answers


def problems_of(day: Day, files: Mapping[str, str], sent: Sent) -> dict[int, str]:
    """Place of a row → why it can't be added, before its log is read. Raises FieldError for the new setup."""
    setups = with_new_setup(day, sent)
    seen: dict[str, str] = {}
    found: dict[int, str] = {}
    for place, row in enumerate(sent.rows):
        if (known := already_here(day, files, row)) is not None:
            found[place] = known
        elif row.sha256 in seen:
            found[place] = f"{row.name} is the same file as {seen[row.sha256]}; one of them is enough."
        elif not row.is_database:
            try:
                run_of(setups, sent, row, 1, LogFile("logs/x"))
            except StillairError as why:
                found[place] = f"{row.name}: {why}"
        seen.setdefault(row.sha256, row.name)
    return found


def already_here(day: Day, files: Mapping[str, str], row: SentRow) -> str | None:
    """Says where the same bytes stand in this day already."""
    path = next((path for path, sha256 in files.items() if sha256 == row.sha256), None)
    if path is None:
        return None
    run = next((run.number for run in day.runs if any(log.file == path for log in run.logs)), None)
    where = f"the log of run {run}" if run is not None else f"here as {path}"
    return f"{row.name} is {where} already, the same to the last byte; it was not added again."


def with_new_setup(day: Day, sent: Sent) -> Day:
    """The day with the setup that is new with these logs, where a row is in it. Raises FieldError."""
    if not sent.brings_setup:
        return day
    typed = {name: (text,) for name, text in sent.new_setup.items()}
    try:
        return setup_forms.change(day, "setup", typed).day
    except FieldError as refusal:
        raise FieldError(f"new_{refusal.field}", str(refusal)) from None


def new_setups(day: Day, sent: Sent) -> tuple[Setup, ...]:
    """The setups that these logs bring."""
    return with_new_setup(day, sent).setups[len(day.setups) :]


def run_of(
    day: Day, sent: Sent, row: SentRow, number: int, log: LogFile, *, channels: Mapping[str, str] | None = None
) -> Run:
    """A row as a run of the day, the new setup in it. Raises FieldError."""
    setup = sent.new_setup["name"].strip() if row.facts["setup"] == NEW_SETUP else row.facts["setup"]
    facts = run_forms.typed_facts(day, {**row.typed, "setup": (setup,)})
    return Run(number=number, logs=(log,), channels=dict(row.answers if channels is None else channels), **facts)


def free_paths(taken: Sequence[str], names: Sequence[str], folder: str = "logs") -> list[str]:
    """A path of its own in the day's folder for each file; none that is there is ever written over."""
    held, paths = {path.casefold() for path in taken}, []
    for name in names:
        safe = PurePosixPath(re.sub(r"\s+", "_", safe_name(name)))
        tries = (f"{folder}/{safe.stem}{f'-{n}' if n > 1 else ''}{safe.suffix}" for n in range(1, len(held) + 2))
        path = next(path for path in tries if path.casefold() not in held)
        held.add(path.casefold())
        paths.append(path)
    return paths


def queue_runs(archive: Archive, day_id: int, sent: Sent, who: str, reason: str = "") -> str:
    """Queue the reading of logs that are to be added; gives the job."""
    job_id = new_job_id()
    with archive.database.writing() as session:
        revision = newest_revision(session, day_id)
        payload = {
            "job_id": job_id,
            "scratch": str(archive.incoming(job_id)),
            "raw": archive.raw.address,
            "files": revision_files(session, revision.id),
            "day_id": day_id,
            "sent": sent.as_json(),
            "choices": choices(session),
            "who": who,
            "reason": reason,
        }
        count = len(sent.rows)
        label = sent.rows[0].name if count == 1 else f"{count} files"
        lane = _free_lane(session)
        add_job(session, ADD_RUNS, f"{label} to be added", payload, job_id, lane=lane, day_id=day_id, who=who)
    return job_id


def _free_lane(session: Session) -> str:
    """The lane that somebody between two outings waits least in: reading takes seconds, a fit before it a minute."""
    busy = set(session.scalars(select(Job.lane).where(Job.state.in_(("queued", "running")))))
    return "long" if busy == {"quick"} else "quick"


def newest_with_files(archive: Archive, session: Session, day_id: int) -> tuple[int, Day, dict[str, str]]:
    """Number, values and files of a day's newest revision. Raises NotFoundError."""
    revision = newest_revision(session, day_id)
    files = revision_files(session, revision.id)
    return revision.number, stored_day(archive, files), files


