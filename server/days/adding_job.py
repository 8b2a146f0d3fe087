"""The job that adds logs to a day: each is read in the worker as a fit would read it; the day is revised only when
all of them can be used. What can't be, and what must be asked first, is kept with the job for its page."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.events import PROGRAM, record
from server.archive.jobs import JobKind, find_job
from server.archive.store_address import open_raw
from server.archive.worker import Payload, Progress
from server.days.adding_runs import (
    ADD_RUNS,
    Sent,
    SentRow,
    already_here,
    free_paths,
    new_setups,
    newest_with_files,
    run_of,
    sent_from,
    with_new_setup,
)
from server.days.change import Change
from server.days.column_choices import TAKEN_OVER_EVENT
from server.days.revisions import revise_within
from server.days.run_changes import add_runs
from server.days.service import lay_out
from server.errors import StillairError
from server.testday.folder import read_folder
from server.testday.role_proposals import best_proposals
from server.testday.roles import NOTHING, SPEED_ROLES, Unclear, propose, remembered
from server.testday.values import Day, LogFile, RawLog, Run

ANSWER = "answer"  # what the job's payload gains: {"problems": {place: sentence}, "asks": {place: [question]}}
SPEEDS = ("gps_speed", "vehicle_speed")
MOST_COLUMNS = 400


def add_runs_work(payload: Payload, progress: Progress) -> Payload:
    """In the worker: read every log; gives problems, questions, roles, and which logs hold frames of a bus."""
    progress(0.01, "starting")
    scratch, raw = Path(payload["scratch"]), open_raw(payload["raw"])
    folder = scratch / "day"
    shutil.rmtree(folder, ignore_errors=True)  # of a start that was interrupted
    for path, sha256 in payload["files"].items():
        lay_out(raw, sha256, folder / path)
    day, sent = read_folder(folder), sent_from(payload["sent"])
    paths = free_paths(list(payload["files"]), [row.name for row in sent.rows])
    for row, path in zip(sent.rows, paths, strict=True):
        lay_out(raw, row.sha256, folder / path)
    hashes = payload["files"] | {path: row.sha256 for row, path in zip(sent.rows, paths, strict=True)}
    reading = _Reading(with_new_setup(day, sent), sent, folder, hashes, paths, payload["choices"])
    for place in range(len(sent.rows)):
        progress(0.05 + 0.9 * place / len(sent.rows), f"reading {sent.rows[place].name}")
        reading.look(place)
    return reading.outcome


class _Reading:
    """The logs of one form, read one after the other; places are those of the form's rows, as text for JSON.

    hashes: path in the folder → SHA-256; paths: those of the form's rows.
    """

    def __init__(  # noqa: PLR0917 - a form and where its files lie
        self,
        day: Day,
        sent: Sent,
        folder: Path,
        hashes: Mapping[str, str],
        paths: list[str],
        choices: Mapping[str, Sequence[str]],
    ) -> None:
        self._day, self._sent, self._folder, self._paths = day, sent, folder, paths
        self._hashes, self._choices = hashes, choices
        self.problems: dict[str, str] = {}
        self.asks: dict[str, list[dict[str, Any]]] = {}
        self.roles: dict[str, dict[str, str]] = {}
        self.taken: dict[str, dict[str, str]] = {}
        self.bus: list[int] = []

    @property
    def outcome(self) -> Payload:
        """What the server is told."""
        found = {"problems": self.problems, "asks": self.asks, "roles": self.roles}
        return {**found, "taken": self.taken, "bus": self.bus}

    def look(self, place: int) -> None:
        """Read one; what is wrong with it is a problem of its row."""
        row = self._sent.rows[place]
        try:
            if row.is_database:
                self._look_at_database(row, place)
            else:
                self._look_at_log(row, place)
        except StillairError as why:
            self.problems[str(place)] = str(why).replace(self._paths[place], row.name)

    def _look_at_database(self, row: SentRow, place: int) -> None:
        from server.readers.bus_database import load_database

        load_database(self._folder / self._paths[place], row.name)

    def _look_at_log(self, row: SentRow, place: int) -> None:
        from server.readers.join import assigned_roles, join_run, opened

        log = LogFile(self._paths[place], signals=self._signals(place))
        raw = opened(self._open, log, row.answers.get("time"))
        taken = remembered(raw, {**self._day.channels, **row.answers}, self._choices)
        told = {**taken, **row.answers}
        chosen = {**self._day.channels, **told}
        found = assigned_roles(raw, chosen, self._day.car)
        asks = [_question(about, raw) for about in found.unclear]
        alone = {role: ps[0].channel.name for role, ps in best_proposals(propose(raw)).items() if len(ps) == 1}
        asks += [_question(Unclear(role, (), unit=False), raw, alone.get(role, NOTHING)) for role in found.missing]
        if not asks and raw.typed is None and not any(role in found.signals for role in SPEED_ROLES):
            asks = [_question(Unclear(role, (), unit=False), raw) for role in SPEEDS]
        self.roles[str(place)], self.taken[str(place)] = told, taken
        if asks:
            self.asks[str(place)] = asks
            return
        run = run_of(self._day, self._sent, row, 1, log, channels=told)
        join_run(run, self._open, self._day.car, self._day.channels, timezone=self._day.timezone)

    def _open(self, file: str, time_column: str | None = None, signals: str | None = None) -> RawLog:
        """Opens a log of the folder; the early estimate that follows finds it read."""
        from server.readers.log_shelf import SHELF

        return SHELF.open(self._folder, self._hashes, file, time_column, signals or self._day.signals)

    def _signals(self, place: int) -> str | None:
        """The database that came along, for a log that holds frames of a bus."""
        if not _may_hold_frames(self._folder / self._paths[place]):
            return None
        self.bus.append(place)
        return next((p for row, p in zip(self._sent.rows, self._paths, strict=True) if row.is_database), None)


def _may_hold_frames(file: Path) -> bool:
    from server.readers.bus_files import bus_form

    with file.open("rb") as opened:
        head = opened.read(4096)
    return head.startswith((b"MDF     ", b"UnFinMF ")) or bus_form(head) is not None


def _question(about: Unclear, raw: RawLog, likely: str = "") -> dict[str, Any]:
    """A question as JSON; without columns of its own any column of the log may be the answer, `likely` above all."""
    columns = about.columns or tuple(channel.name for channel in raw.channels)[:MOST_COLUMNS]
    chosen = likely or (columns[0] if len(about.columns) == 1 else "")
    return {
        "role": about.role,
        "columns": list(columns),
        "unit": about.unit,
        "any": not about.columns,
        "chosen": chosen,
    }


def keep_added_runs(archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
    """In the server: revise the day with the runs, or write down what stands in the way; gives the day's number."""
    sent, day_id = sent_from(payload["sent"]), int(payload["day_id"])
    _, day, files = newest_with_files(archive, session, day_id)
    problems = dict(outcome["problems"])
    for place, row in enumerate(sent.rows):
        if (known := already_here(day, files, row)) is not None:
            problems[str(place)] = known
    if problems or outcome["asks"]:
        job = find_job(session, payload["job_id"])
        job.payload = {**payload, ANSWER: {"problems": problems, "asks": outcome["asks"]}}
        return str(day_id)
    plan = _Plan(archive, day, files, sent, outcome)
    revise_within(archive, session, day_id, lambda _: plan.change, who=payload["who"], reason=payload["reason"])
    if taken := {str(plan.numbers[place]): words for place, words in outcome["taken"].items() if words}:
        record(session, who=PROGRAM, kind=TAKEN_OVER_EVENT, day_id=day_id, subject="columns", after={"value": taken})
    return str(day_id)


class _Plan:
    """Which files become which runs of a day. numbers: place of a row → number of its run; change: all of it."""

    def __init__(
        self, archive: Archive, day: Day, files: Mapping[str, str], sent: Sent, outcome: Mapping[str, Any]
    ) -> None:
        self._day, self._sent, self._outcome = day, sent, outcome
        self._paths = free_paths(list(files), [row.name for row in sent.rows])
        rows = list(zip(sent.rows, self._paths, strict=True))
        self._new_files = {path: archive.raw.path(row.sha256) for row, path in rows}
        self._database = next((path for row, path in rows if row.is_database), None)
        last = max((run.number for run in day.runs), default=0)
        logs = [place for place, row in enumerate(sent.rows) if not row.is_database]
        self.numbers = {str(place): last + 1 + n for n, place in enumerate(logs)}
        self.change = self._change()

    def _change(self) -> Change:
        day, sent = self._day, self._sent
        runs = tuple(self._run(place) for place in map(int, self.numbers))
        if not runs:
            made = _only_signals(day, self._new_files)
        else:
            made = add_runs(day, runs, self._new_files, new_setups(day, sent))
        if self._database is not None and (day.signals is None or not runs):
            made = replace(made, day=replace(made.day, signals=self._database))
        said = {role: column for row in sent.rows for role, column in row.answers.items()}
        return replace(made, remember={role: c for role, c in said.items() if role != "time" and c != NOTHING})

    def _run(self, place: int) -> Run:
        """The day's first database is that of all its logs; a later one that of the logs that came with it."""
        own = self._database if self._day.signals is not None and place in self._outcome["bus"] else None
        log, roles = LogFile(self._paths[place], signals=own), self._outcome["roles"].get(str(place), {})
        day = with_new_setup(self._day, self._sent)
        return run_of(day, self._sent, self._sent.rows[place], self.numbers[str(place)], log, channels=roles)


def _only_signals(day: Day, new_files: Mapping[str, Path]) -> Change:
    """A database alone: the bus logs that name none of their own are read by it from now on."""
    path = next(iter(new_files))
    what = f"{path} says what the frames of bus logs carry"
    return Change(day, "signals-added", "signals", day.signals, path, what, dict(new_files))


ADDING_KINDS = {ADD_RUNS: JobKind(add_runs_work, keep_added_runs, ahead=True)}
