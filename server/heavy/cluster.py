"""Other computers: workers of a Dask scheduler, each a process that takes one task at a time.

A task of a worker that dies is given to another. The scheduler forgets the work of a server that goes away, so that
work is called off by ending the process that waits for it.
"""

from __future__ import annotations

import queue
import threading
import time
import uuid
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from typing import Any

from server.errors import StillairError
from server.heavy.pool import Said, Work, silent
from server.heavy.versions import difference, fingerprint
from server.settings import SCHEDULER_VARIABLE

CONNECT_S = 10
WORKERS_S = 15.0  # how long work waits for a first worker
BACK_S = 600.0  # and for a scheduler or all workers to come back
LOOK_S = 1.0
AHEAD = 4  # tasks given out for each worker: no more is lost when the work is called off
NO_SCHEDULER = f"The scheduler {{address}} does not answer; start it, or take {SCHEDULER_VARIABLE} away to work here."
NO_WORKER = "The scheduler {address} has no workers; start some with `stillair worker {address}`, then try again."
GONE = "The scheduler {address} or its workers went away during the work and did not come back; start it again."
NOT_ALIKE = "The worker {worker} has {what}; bring it to the same version, or its numbers could be others."
NOT_THERE = "The worker {worker} has no Stillair that it can import; start it with `stillair worker {address}`."
DIED = "One piece of the work ended {times} workers one after the other, perhaps for want of memory; it was given up."
# Asked of a worker by a function that every Python has, so that one without Stillair answers, too.
ASKED = "__import__('server.heavy.versions', fromlist=['fingerprint']).fingerprint()"

_one_at_a_time = threading.Lock()


class _WentAwayError(Exception):
    """The scheduler broke off."""


class Cluster:
    """The workers of a scheduler. address: where it listens, as tcp://computer:8786."""

    def __init__(self, address: str) -> None:
        self._address = address

    def each(self, work: Work, tasks: Sequence[Any], said: Said) -> Iterator[tuple[int, Any]]:  # noqa: ARG002 - only ends are heard
        """See `Pool`. What had ended stays when the scheduler goes away and comes back."""
        left, began = dict(enumerate(tasks)), False
        while left:
            try:
                with self._client(BACK_S if began else 0.0) as client:
                    self._must_be_alike(client, BACK_S if began else WORKERS_S)
                    for place, outcome in self._done(client, work, dict(left)):
                        began = True
                        del left[place]
                        yield place, outcome
            except _WentAwayError:
                began = True

    def _done(self, client: Any, work: Work, left: dict[int, Any]) -> Iterator[tuple[int, Any]]:
        """Outcomes by one connection. Raises _WentAwayError when it breaks."""
        ended: queue.SimpleQueue[Any] = queue.SimpleQueue()
        name, running = uuid.uuid4().hex, {}
        try:
            while left or running:
                while left and len(running) < AHEAD * max(1, len(self._workers(client))):
                    place = next(iter(left))
                    key = f"stillair-{name}-{place}"
                    future = client.submit(do_task, fingerprint(), work, left.pop(place), key=key, pure=False)
                    running[key] = (place, future)
                    future.add_done_callback(ended.put)
                place, future = running.pop(self._next(client, ended))
                yield place, self._outcome(future)
        finally:
            if client.status == "running":
                client.cancel([future for _, future in running.values()], force=True)

    @contextmanager
    def _client(self, patience_s: float) -> Iterator[Any]:
        from distributed import Client

        until, client = time.monotonic() + patience_s, None
        while client is None:
            try:
                client = Client(self._address, timeout=CONNECT_S, set_as_default=False, name="stillair")
            except (OSError, ValueError, RuntimeError):
                if time.monotonic() >= until:
                    sentence = GONE if patience_s else NO_SCHEDULER
                    raise StillairError(sentence.format(address=self._address)) from None
                time.sleep(LOOK_S)
        try:
            yield client
        finally:
            _settle(client)
            client.close()

    def _must_be_alike(self, client: Any, patience_s: float) -> None:
        """Raise StillairError where a worker would compute with something else, or none is there."""
        until = time.monotonic() + patience_s
        while not self._workers(client):
            if time.monotonic() > until:
                raise StillairError(NO_WORKER.format(address=self._address))
            time.sleep(LOOK_S / 5.0)
        try:
            told = client.run(eval, ASKED, on_error="return")
        except (OSError, RuntimeError):
            raise _WentAwayError from None
        for worker, theirs in told.items():
            if isinstance(theirs, OSError):
                continue  # it went away while it was asked; whoever comes in its place looks at itself
            if isinstance(theirs, BaseException):
                raise StillairError(NOT_THERE.format(worker=worker, address=self._address))
            what = difference(dict(fingerprint()), dict(theirs))
            if what:
                raise StillairError(NOT_ALIKE.format(worker=worker, what=what))

    def _workers(self, client: Any) -> Sequence[str]:
        try:
            return list(client.nthreads())
        except (OSError, RuntimeError):
            raise _WentAwayError from None

    def _next(self, client: Any, ended: queue.SimpleQueue[Any]) -> str:
        """The key of the next task that ended."""
        last_seen = time.monotonic()
        while True:
            try:
                return str(ended.get(timeout=LOOK_S).key)
            except queue.Empty:
                pass
            if client.status != "running":
                raise _WentAwayError
            if self._workers(client):
                last_seen = time.monotonic()
            elif time.monotonic() - last_seen > BACK_S:
                raise StillairError(GONE.format(address=self._address))

    def _outcome(self, future: Any) -> Any:
        if future.status in ("cancelled", "lost"):
            raise _WentAwayError
        if future.status == "error":
            from distributed import KilledWorker

            error = future.exception()
            if isinstance(error, KilledWorker):
                raise StillairError(DIED.format(times=error.allowed_failures + 1)) from None
            if isinstance(error, ModuleNotFoundError) and (error.name or "").partition(".")[0] == "server":
                raise StillairError(NOT_THERE.format(worker="that came last", address=self._address)) from None
            raise error
        try:
            return future.result()
        except (CancelledError, OSError):  # the piece ended, and what it gave went with the connection
            raise _WentAwayError from None


def do_task(ours: Sequence[tuple[str, str]], work: Work, task: Any) -> Any:
    """On the worker: a worker that came later is looked at, too; one task at a time, however many threads it has."""
    what = difference(dict(ours), dict(fingerprint()))
    if what:
        raise StillairError(NOT_ALIKE.format(worker=_own_address(), what=what))
    with _one_at_a_time:
        return work(task, silent)


def _settle(client: Any) -> None:
    """A client that is closed while it connects anew would leave that connection open: wait until it is through."""
    until = time.monotonic() + CONNECT_S
    while client.status == "connecting" and time.monotonic() < until:
        time.sleep(LOOK_S / 10.0)


def _own_address() -> str:
    from distributed import get_worker

    return str(get_worker().address)

