"""Jobs: long work that is written down first, done in order, and can be left and come back to."""

from __future__ import annotations

import logging
import threading
import time
import uuid
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Protocol

from sqlalchemy import Select, and_, select, update
from sqlalchemy.orm import Session

from server.archive import outcomes
from server.archive.archive import Archive
from server.archive.database import now_utc, tell_news
from server.archive.entries import claim
from server.archive.outage import Outage
from server.archive.tables import JOB_LANES, Job
from server.archive.worker import MISTAKE, Payload, Work, WorkCalledOff, Worker, WorkStopped
from server.errors import ArchiveBusyError, DiskFullError, NotFoundError, StillairError, StoreError

PROGRESS_EVERY_S = 0.2
LOOK_EVERY_S = 1.0
WARM_AFTER_S = 3.0  # the first page goes first
MOST_STARTS = 3
NICENESS = {"quick": 3, "long": 5}  # where processors are short: pages first, what goes ahead, a fit, a study
CALLED_OFF = "called off"
GAVE_UP = "The server was stopped three times while working on this; start it once more, with the file if it had one."


class Finish(Protocol):
    """Keeps what came of the work, in one transaction; gives the address of the outcome."""

    def __call__(self, archive: Archive, session: Session, payload: Payload, outcome: Payload) -> str:
        """Keep it; gives the name of what is kept."""


@dataclass(frozen=True, slots=True)
class JobKind:
    """`work` runs in the worker process (a module-level function), `finish` in the server.

    ahead: it takes a second or two, and never stands behind a fit: a process of its own does it. warm: work that gets
    that process ready, done soon after its start while nothing is asked for, so that nobody waits for imports. keeps:
    the larger of the files that `finish` will keep; they go into a shared store ahead of its transaction.
    """

    work: Work
    finish: Finish
    ahead: bool = False
    warm: Work | None = None
    keeps: Callable[[Payload, Payload], Iterable[Path]] | None = None


def new_job_id() -> str:
    """A name that nobody guesses."""
    return uuid.uuid4().hex


def add_job(
    session: Session,
    kind: str,
    label: str,
    payload: Payload,
    job_id: str | None = None,
    *,
    lane: str = "quick",
    day_id: int | None = None,
    who: str = "",
) -> Job:
    """Write a job down; it is done when its turn in its lane comes."""
    job = Job(id=job_id or new_job_id(), kind=kind, label=label, payload=payload, lane=lane, day_id=day_id, who=who)
    session.add(job)
    session.flush()
    claim(session, None)
    tell_news(session, day_id)
    return job


def find_job(session: Session, job_id: str) -> Job:
    """The job. Raises NotFoundError."""
    job = session.get(Job, job_id)
    if job is None:
        raise NotFoundError("No work goes by that address.")
    return job


def open_jobs(session: Session) -> list[Job]:
    """Jobs that wait or run, the oldest first; and the newest job of all when it failed."""
    open_states = select(Job).where(Job.state.in_(("queued", "running")))
    waiting = list(session.scalars(open_states.order_by(Job.created_at, Job.id)))
    newest = session.scalar(select(Job).order_by(Job.created_at.desc(), Job.id.desc()).limit(1))
    return [*waiting, newest] if newest is not None and newest.state == "failed" else waiting


def cancel_job(session: Session, job_id: str) -> bool:
    """Call a job off, waiting or running; False when it has ended already. Raises NotFoundError."""
    job = find_job(session, job_id)
    if job.state not in ("queued", "running"):
        return False
    job.state, job.error, job.finished_at = "cancelled", CALLED_OFF, now_utc()
    tell_news(session, job.day_id)
    return True


class JobRunner:
    """Does the jobs: one lane beside the other, so that a fit never waits for a study."""

    def __init__(self, archive: Archive, kinds: Mapping[str, JobKind]) -> None:
        self._archive = archive
        ahead = {name for name, kind in kinds.items() if kind.ahead}
        names = (*JOB_LANES, "ahead") if ahead else JOB_LANES
        said: set[type[Exception]] = set()
        made = partial(_Lane, archive, kinds, ahead=ahead, wake_all=self.wake)
        self._lanes = {name: made(name, outage=Outage(said)) for name in names}

    def start(self) -> None:
        """Begin; a job that was running when the server last stopped starts over."""
        with self._archive.database.writing() as session:
            session.execute(update(Job).where(Job.state == "running").values(state="queued", fraction=0.0))
        for lane in self._lanes.values():
            lane.start()

    def wake(self) -> None:
        """Say that there is a new job, or that one was called off."""
        for lane in self._lanes.values():
            lane.wake()

    def stop(self) -> None:
        """End at once; running work goes back to the queue."""
        for lane in self._lanes.values():
            lane.stop()


class _Lane:
    """Takes the jobs of a lane in order, one at a time, from a thread of the server; the work runs in a `Worker`."""

    def __init__(
        self, archive: Archive, kinds: Mapping[str, JobKind], name: str, *,
        ahead: set[str], wake_all: Callable[[], None], outage: Outage,
    ) -> None:  # fmt: skip
        self._archive = archive
        self._kinds = kinds
        self._name = name
        self._ahead = ahead
        self._wake_all, self._outage = wake_all, outage
        self._worker = Worker(NICENESS.get(name, 0))
        self._warm_at = time.monotonic() + WARM_AFTER_S
        self._warmed: int | None = 0  # the process that was got ready
        self._unsaid: dict[str, str] = {}  # jobs that failed while their failure could not be written
        self._wake = threading.Event()
        self._stopping = False
        self._thread = threading.Thread(target=self._loop, name=f"stillair-jobs-{name}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def wake(self) -> None:
        """Look for a job now."""
        self._wake.set()

    def stop(self) -> None:
        """End at once; running work goes back to the queue."""
        self._stopping = True
        self._wake.set()
        self._worker.stop()
        if self._thread.is_alive():
            self._thread.join(10.0)

    def _warm(self) -> bool:
        """Get the process ready while nothing is asked for; False where that is done, or nothing to do. What fails
        here fails again, and is told, in a job."""
        ready = self._name != "ahead" or self._worker.pid == self._warmed
        if ready or self._stopping or time.monotonic() < self._warm_at:
            return False
        for work in {kind.warm for kind in self._kinds.values() if kind.ahead and kind.warm}:
            with suppress(StillairError, WorkStopped):
                self._worker.run(work, {}, lambda *_: None)
        self._warmed = self._worker.pid
        return True

    def _loop(self) -> None:
        while not self._stopping:
            try:
                went_on = self._step() or self._warm()
                self._outage.over()
                if not went_on:
                    self._rest(LOOK_EVERY_S)
            except (ArchiveBusyError, DiskFullError) as away:
                self._rest(self._outage.pause_s(away))
            except Exception:  # the thread must outlive whatever befalls one job
                logging.getLogger(__name__).exception("a job could not be ended")
                time.sleep(LOOK_EVERY_S)

    def _rest(self, longest_s: float) -> None:
        self._wake.wait(longest_s)
        self._wake.clear()

    def _step(self) -> bool:
        """Do the next job; False when none waits."""
        self._say_failures()
        job = self._take()
        if job is None:
            return False
        try:
            self._do(job)
        except (ArchiveBusyError, DiskFullError):
            raise  # what is not written yet is, before the next look for work
        except Exception:
            logging.getLogger(__name__).exception("job %s failed", job.id)
            self._fail(job.id, MISTAKE)
        self._wake_all()  # what came of it may be work for another lane
        return True

    def _take(self) -> Job | None:
        with self._archive.database.reading() as session:
            if session.scalar(self._waiting()) is None:
                return None
        with self._archive.database.writing() as session:
            job = session.scalar(self._waiting())
            if job is not None:
                job.state, job.text, job.starts = "running", "starting", job.starts + 1
                session.flush()
                session.expunge(job)
            return job

    def _waiting(self) -> Select[tuple[Job]]:
        goes_ahead = and_(Job.kind.in_(self._ahead), Job.lane == "quick")
        its_own = and_(Job.lane == self._name, ~goes_ahead)
        mine = select(Job).where(Job.state == "queued", goes_ahead if self._name == "ahead" else its_own)
        return mine.order_by(Job.created_at, Job.id).limit(1)

    def _do(self, job: Job) -> None:
        kind = self._kinds[job.kind]
        try:
            outcome = self._outcome(kind, job)
            self._bring(kind, job, outcome)
            self._keep(kind, job, outcome)
        except WorkCalledOff:
            self._archive.drop_incoming(job.id)
            return
        except WorkStopped:
            with self._archive.database.writing() as session:
                session.execute(
                    update(Job).where(Job.id == job.id, Job.state == "running").values(state="queued", fraction=0.0)
                )
            return
        except StillairError as refusal:
            self._fail(job.id, str(refusal))
        else:
            self._archive.drop_incoming(job.id)

    def _outcome(self, kind: JobKind, job: Job) -> Payload:
        """What comes of the work; what came of it before the server was stopped is not worked out again."""
        outcome = outcomes.left(self._archive, job.id) if job.starts > 1 else None
        if outcome is None:
            if job.starts > MOST_STARTS:
                raise StillairError(GAVE_UP)
            outcome = self._worker.run(kind.work, job.payload, self._progress_of(job.id))
            outcomes.leave(self._archive, job.id, outcome)
        return outcome

    def _bring(self, kind: JobKind, job: Job, outcome: Payload) -> None:
        """What took long to make is not lost to a store that is silent: it is waited for, and can be called off."""
        progress = self._progress_of(job.id)
        for file in kind.keeps(job.payload, outcome) if kind.keeps else ():
            while True:
                try:
                    self._archive.raw.bring(file)
                    break
                except StoreError as silent:
                    progress(0.99, str(silent))
                time.sleep(LOOK_EVERY_S)
                if self._stopping:
                    raise WorkStopped

    def _keep(self, kind: JobKind, job: Job, outcome: Payload) -> None:
        """Nor to a disk that is full, or a database that is away. A try whose answer was lost may have kept it: then
        the job has ended."""
        try:
            while not self._is_kept(kind, job, outcome):
                if self._stopping:
                    raise WorkStopped
        finally:
            outcomes.waiting.pop(job.id, None)

    def _is_kept(self, kind: JobKind, job: Job, outcome: Payload) -> bool:
        """One try, and a rest where it must be made again."""
        try:
            with self._archive.database.writing() as session:
                if find_job(session, job.id).state != "running":
                    self._archive.database.news.tell(job.day_id)
                    raise WorkCalledOff
                target = kind.finish(self._archive, session, job.payload, outcome)
                self._set(session, job.id, state="done", fraction=1.0, text="done", target=target)
        except (StillairError, OSError) as error:
            why = outcomes.reason_to_wait(error)
            if not why:
                raise
            outcomes.leave(self._archive, job.id, outcome)
            self._say_waiting(job.id, outcomes.WAITS.format(why=why), error)
            return False
        return True

    def _say_waiting(self, job_id: str, sentence: str, error: Exception) -> None:
        outcomes.waiting[job_id] = sentence  # where nothing can be written, the page says it all the same
        if not isinstance(error, ArchiveBusyError):
            self._progress_of(job_id)(0.99, sentence)
        self._rest(self._outage.pause_s(error))

    def _fail(self, job_id: str, sentence: str) -> None:
        self._unsaid.setdefault(job_id, sentence)  # the first sentence is the cause
        self._archive.drop_incoming(job_id)
        self._say_failures()

    def _say_failures(self) -> None:
        """Write down what failed; on a full disk that is tried again before every look for work, until it can be."""
        for job_id, sentence in list(self._unsaid.items()):
            with self._archive.database.writing() as session:
                self._set(session, job_id, state="failed", error=sentence)
            del self._unsaid[job_id]

    @staticmethod
    def _set(session: Session, job_id: str, **values: object) -> None:
        running = update(Job).where(Job.id == job_id, Job.state == "running")
        session.execute(running.values(finished_at=now_utc(), **values))
        tell_news(session, find_job(session, job_id).day_id)

    def _progress_of(self, job_id: str) -> _ProgressWriter:
        return _ProgressWriter(self._archive, job_id)


class _ProgressWriter:
    """Writes how far a job has come, no oftener than the page asks; what is to be shown of it at once."""

    def __init__(self, archive: Archive, job_id: str) -> None:
        self._archive, self._job_id = archive, job_id
        self._last = 0.0

    def __call__(self, fraction: float, text: str, shown: Payload | None = None, /) -> None:
        now = time.monotonic()
        if shown is None and now - self._last < PROGRESS_EVERY_S:
            return
        self._last = now
        with suppress(DiskFullError, ArchiveBusyError):  # no reason to end the work
            self._write(fraction, text, shown)

    def _write(self, fraction: float, text: str, shown: Payload | None) -> None:
        with self._archive.database.writing() as session:
            values = {"fraction": min(1.0, max(0.0, fraction)), "text": text}
            going = update(Job).where(Job.id == self._job_id, Job.state == "running")
            if session.execute(going.values(**values)).rowcount == 0:
                raise WorkCalledOff
            if shown is not None:
                job = find_job(session, self._job_id)
                job.payload = {**job.payload, **shown}
                tell_news(session, job.day_id)
