"""What the page of a run shows, read from the day as it stands, the run's part of the newest result, and its logs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.analysis.result import TOO_SLOW, DayResult, Pass
from server.archive.archive import Archive
from server.archive.tables import Job
from server.days.beside_fit import is_seen
from server.days.change import find_run
from server.days.column_choices import taken_over
from server.days.form_fields import text_of
from server.days.remarks_forms import tyres_text
from server.days.revisions import newest_day
from server.days.run_forms import start_text
from server.days.service import REFIT_JOB, revision_files
from server.days.weather_forms import READINGS, time_text
from server.errors import NotFoundError, StillairError
from server.figures.table import Table
from server.figures.theme import SetupMark, setup_marks
from server.results.finding_groups import FindingGroup, finding_groups
from server.results.preview_job import PreviewView
from server.results.service import ResultShelf, latest_result
from server.results.view import PassRow, pass_rows
from server.runs.columns import RecordingColumns, columns_of
from server.runs.recordings import READ_JOB, RunLog, run_logs, unread
from server.runs.speed import Window, run_span
from server.templating import Crumb, Page
from server.testday.values import Day, Finding, PassEdit, Run
from server.tufts.glyphs import PhotoFigure

MPS_TO_KMH = 3.6


@dataclass(frozen=True, slots=True)
class RunNow:
    """A run as it stands: of which day and revision, with its logs, the newest result's word on it, and its neighbours.

    waiting: the logs that the samples store does not hold; stale: the result is of an older revision.
    """

    day_id: int
    day: Day
    run: Run
    revision: int
    logs: tuple[RunLog, ...]
    waiting: tuple[RunLog, ...]
    sha256: str
    result: DayResult | None
    stale: bool
    seen: Mapping[str, str]
    refit: Job | None
    reading: Job | None

    @property
    def passes(self) -> tuple[Pass, ...]:
        """The stretches of the run in order of time."""
        found = [one for setup in self.result.setups for one in setup.passes] if self.result else []
        return tuple(sorted(found, key=lambda one: one.start_s))


@dataclass(frozen=True, slots=True)
class PassLine:
    """A stretch of the run. number: counted from 1 in order of time, of all but standing ones; by_hand: a person spoke
    of it; typed: what its form holds, another thing than the pass where it was refused; problem: why."""

    number: int
    start_s: float
    end_s: float
    row: PassRow
    by_hand: bool
    typed: Mapping[str, str]
    problem: str = ""

    @property
    def slug(self) -> str:
        """Its form's name."""
        return f"pass-{self.number}"

    @property
    def movable(self) -> bool:
        """Whether its edges can be moved."""
        return self.row.kind != "static zero"


@dataclass(frozen=True, slots=True)
class Refused:
    """A form that was refused: which one, what was typed into it, and why, in one sentence."""

    form: str
    typed: Mapping[str, str]
    problem: str


@dataclass(frozen=True, slots=True)
class ChannelChoice:
    """A channel that can be drawn: its address, its words, whether it is."""

    id: str
    name: str
    unit: str
    role: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class AskedRole:
    """The form of a column's role. log: its place in the run."""

    column: str
    unit: str
    role: str
    silent: bool


@dataclass(frozen=True, kw_only=True)
class RunPage(Page):
    """One run. revision: what its forms were made of; stale: the passes are those of an older revision's fit."""

    template: ClassVar[str] = "runs/run.html"
    help: ClassVar[str] = "run"
    live: ClassVar[bool] = True
    day_id: int
    run: Run
    revision: int
    mark: SetupMark
    setups: tuple[str, ...]
    passes: tuple[PassLine, ...]
    sentence: str
    next_step: str
    findings: tuple[FindingGroup, ...]
    facts: tuple[tuple[str, str], ...]
    before: int | None
    after: int | None
    stale: bool
    refit: Job | None
    has_result: bool
    reading: str
    read: bool
    span: tuple[float, float] | None
    window: Window
    query: str
    channels: tuple[ChannelChoice, ...]
    recordings: tuple[RecordingColumns, ...]
    roles: tuple[tuple[str, str], ...]
    asked: AskedRole | None
    preview: PreviewView | None
    refused: Refused | None
    photos: tuple[PhotoFigure, ...]
    copied: str


def run_now(
    archive: Archive, session: Session, results: ResultShelf, day_id: int, number: int, *, arrays: bool = False
) -> RunNow:
    """A run of a day. arrays: with the readings of its fits, for figures. Raises NotFoundError."""
    revision, day = newest_day(archive, session, day_id)
    try:
        run = find_run(day, number)
    except StillairError as missing:
        raise NotFoundError(str(missing)) from None
    logs = run_logs(day, run, revision_files(session, revision.id))
    waiting = unread(archive, logs)
    row = latest_result(session, day_id)
    stale = not is_seen(session, revision, row.revision_id if row else None)
    return RunNow(
        day_id=day_id,
        day=day,
        run=run,
        revision=revision.number,
        logs=logs,
        waiting=waiting,
        sha256=row.sha256 if row else "",
        result=results.parts.of(row.sha256, number, arrays) if row else None,
        stale=stale,
        seen=taken_over(session, day_id, number) if run.channels else {},
        refit=_newest_refit(session, day_id) if stale else None,
        reading=_open_reading(session, waiting),
    )


def _newest_refit(session: Session, day_id: int) -> Job | None:
    chosen = select(Job).where(Job.kind == REFIT_JOB, Job.day_id == day_id)
    return session.scalar(chosen.order_by(Job.created_at.desc(), Job.id.desc()).limit(1))


def _open_reading(session: Session, waiting: tuple[RunLog, ...]) -> Job | None:
    keys = {one.key for one in waiting}
    if not keys:
        return None
    chosen = select(Job).where(Job.kind == READ_JOB, Job.state.in_(("queued", "running")))
    return next((job for job in session.scalars(chosen) if keys <= {one["key"] for one in job.payload["logs"]}), None)


def pass_lines(now: RunNow, refused: Refused | None) -> tuple[PassLine, ...]:
    """The stretches of the run with what a person can say of each."""
    if now.result is None:
        return ()
    marks = setup_marks([setup.name for setup in now.result.setups])
    found = [
        (one, row)
        for setup in now.result.setups
        for one, row in zip(
            sorted(setup.passes, key=lambda p: (p.run, p.start_s)), pass_rows(setup, marks[setup.name]), strict=True
        )
    ]
    found.sort(key=lambda pair: pair[0].start_s)
    return tuple(_line(n, one, row, now.run, refused) for n, (one, row) in enumerate(found, 1))


def _line(number: int, one: Pass, row: PassRow, run: Run, refused: Refused | None) -> PassLine:
    mine = refused if refused and refused.form == f"pass {one.start_s}" else None
    typed = {"start_s": f"{one.start_s:g}", "end_s": f"{one.end_s:g}", "reason": ""}
    by_hand = any(_meet(one, edit) for edit in run.passes)
    return PassLine(
        number, one.start_s, one.end_s, row, by_hand, {**typed, **(mine.typed if mine else {})},
        mine.problem if mine else "",
    )  # fmt: skip


def _meet(one: Pass, edit: PassEdit) -> bool:
    return min(one.end_s, edit.end_s) - max(one.start_s, edit.start_s) > 0.0


def sentence(lines: tuple[PassLine, ...], stale: bool) -> str:
    """Is this recording good, in one sentence."""
    coasts = _coast_downs(lines)
    used = sum(row.used for row in coasts)
    if not lines and stale:
        return "This run was not fitted yet."
    if not coasts:
        return "No coast-down was found in this run."
    if used == len(coasts):
        return f"Every coast-down of this run is used: {used} of {used}{_alone(coasts)}."
    why = next(row.reason for row in coasts if not row.used)
    return f"{used} of {len(coasts)} coast-downs of this run are used; turned down first: {why}."


def _coast_downs(lines: tuple[PassLine, ...]) -> list[PassRow]:
    """The coast-downs, without stretches that only rolled on slowly, as a car does before it turns."""
    coasts = (line.row for line in lines if line.row.kind == "coast-down")
    return [row for row in coasts if row.used or not row.reason.startswith(TOO_SLOW)]


def _alone(coasts: list[PassRow]) -> str:
    """What the least and the greatest of the passes say by themselves; ± is not that of the area: see PassFit."""
    own = sorted((row.own for row in coasts if row.own), key=lambda text: float(text.split()[0]))
    if not own:
        return ""
    ends = " to ".join(dict.fromkeys((own[0], own[-1])))
    told = "by its own noise alone it gives" if len(own) == 1 else "by their own noise alone they give"
    return f"; {told} SCx {ends} m², all else as the day found it"


def next_step(lines: tuple[PassLine, ...], findings: list[Finding], asked: int) -> str:
    """What to do about this run now; empty where nothing is to be done."""
    if asked:
        return f"Say what {'a column' if asked == 1 else f'{asked} columns'} below {'is' if asked == 1 else 'are'} in."
    coasts = _coast_downs(lines)
    if lines and not coasts:
        return "Look at its findings, then at how the car was driven."
    grave = [one for one in findings if one.grade != "note"]
    if grave:
        return f"{len(grave)} finding{'s ask' if len(grave) > 1 else ' asks'} for a look."
    if any(not row.used for row in coasts):
        return "Look at the edges of what was turned down: a stretch that was cut too wide can be made narrower."
    return ""


def run_facts(now: RunNow) -> tuple[tuple[str, str], ...]:
    """What is known of the run, in words."""
    run, day = now.run, now.day
    mass = text_of(run.driver_mass_kg, "kg") + (" (a default)" if run.driver_mass_kg.source == "default" else "")
    coasting = "not said" if run.coasting == "unknown" else run.coasting
    date = day.date.isoformat() if day.date else "no date"
    start = start_text(run) or "by the log’s clock"
    found = [
        ("date and start", f"{date}, {start}"),
        ("driver", f"{run.driver}, {mass}" if run.driver else mass),
        ("coasting", coasting),
        ("direction", run.direction or "from the log"),
        ("logs", ", ".join(log.file for log in run.logs)),
    ]
    beside = (
        ("what the driver said", run.remarks),
        ("tyres cold, front left to rear right", tyres_text(run.tyre_cold_pa)),
        ("tyres hot, front left to rear right", tyres_text(run.tyre_hot_pa)),
    )
    return (*found, *((words, told) for words, told in beside if told), *air_at(day, run))


def air_at(day: Day, run: Run) -> tuple[tuple[str, str], ...]:
    """The reading of the air that is nearest to the run's start."""
    if not day.weather:
        return ()
    at = run.start_clock_s
    nearest = min(day.weather, key=lambda one: abs((one.clock_s or 0.0) - at) if at is not None else 0.0)
    values = [(one.words.lower(), getattr(nearest, one.field), one.key.unit) for one in READINGS]
    told = [f"{words} {text_of(value, unit)}" for words, value, unit in values if value is not None]
    more = f", the nearest of {len(day.weather)} readings" if len(day.weather) > 1 else ""
    return ((f"air, {time_text(nearest)}{more}", ", ".join(told)),)


def passes_table(now: RunNow) -> Table:
    """The stretches of the run as a spreadsheet takes them."""
    own = {(fit.of.start_s): fit for setup in now.result.setups for fit in setup.fits} if now.result else {}
    rows = []
    for one in now.passes:
        fit = own.get(one.start_s)
        area = (fit.scx, fit.scx_u) if fit is not None and fit.scx_u > 0 else (None, None)
        speeds = (MPS_TO_KMH * one.high_mps, MPS_TO_KMH * one.low_mps)
        way = {1: "out", -1: "back", 0: ""}[one.direction]
        used = "used" if one.used else "turned down"
        ends = (one.start_s, one.end_s, *speeds)
        rows.append((now.run.number, one.setup, one.kind, way, *ends, *area, used, one.reason))
    columns = (
        *("run", "setup", "kind", "direction", "from [s]", "to [s]", "fastest [km/h]", "slowest [km/h]"),
        *("own SCx [m²]", "u by its own noise [m²]", "used", "reason"),
    )
    return Table(columns, tuple(rows))


def recordings_of(archive: Archive, now: RunNow) -> tuple[RecordingColumns, ...]:
    """The columns of the logs that were read."""
    there = [one for one in now.logs if one not in now.waiting]
    return tuple(columns_of(archive, one, now.day, now.run, now.seen) for one in there)


def channel_choices(recordings: tuple[RecordingColumns, ...], chosen: tuple[str, ...]) -> tuple[ChannelChoice, ...]:
    """Every channel of the run once; one whose name an earlier log has is called with its file."""
    found: list[ChannelChoice] = []
    names: set[str] = set()
    for recording in recordings:
        for row in recording.rows:
            name = f"{row.name}@{recording.file}" if row.name in names else row.name
            if name not in names:
                found.append(ChannelChoice(name, row.name, row.unit, row.spoken, name in chosen))
            names.add(name)
    return tuple(found)


def groups(now: RunNow, recordings: tuple[RecordingColumns, ...]) -> tuple[FindingGroup, ...]:
    """What was noticed in this run: by the newest fit, and of its columns where there is none."""
    noticed = list(now.result.findings) if now.result else []
    if not noticed:
        noticed = [one for each in recordings for one in each.findings]
    return finding_groups(noticed)


def span_of(archive: Archive, now: RunNow) -> tuple[float, float] | None:
    """The time that the run's logs tell of; None before they are read."""
    return None if now.waiting or not now.logs else run_span(archive, now.logs)


def crumbs(request: Request, now: RunNow) -> tuple[Crumb, ...]:
    """Season → day."""
    there = request.app.url_path_for
    return (
        Crumb("Season", str(there("days"))),
        Crumb(now.day.name, str(there("day", day_id=str(now.day_id)))),
    )


def neighbours(now: RunNow) -> tuple[int | None, int | None]:
    """The runs before and after, by their numbers."""
    numbers = sorted(one.number for one in now.day.runs)
    place = numbers.index(now.run.number)
    return numbers[place - 1] if place else None, numbers[place + 1] if place + 1 < len(numbers) else None
