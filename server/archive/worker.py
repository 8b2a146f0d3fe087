"""A process of its own for long work: heavy imports and a fit never hold up a page."""

from __future__ import annotations

import logging
import multiprocessing
import os
import signal
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from multiprocessing.connection import Connection
from typing import Any, Protocol

from server.archive.disk import disk_in_words
from server.errors import StillairError

Payload = dict[str, Any]


class Progress(Protocol):
    """What work is given to say how far it has come, and what pages may show of it before its end."""

    def __call__(self, fraction: float, text: str, shown: Payload | None = None, /) -> None:
        """fraction: from 0 to 1; text: what is being done; shown: is added to the job's payload."""


Work = Callable[[Payload, Progress], Payload]

POLL_S = 0.1
QUIET_S = 1.0
STOPPED = "The work was stopped before its end."
CRASHED = "The work ended without an answer, perhaps for want of memory; nothing of it was kept."
MISTAKE = "The program made a mistake while working on this, and kept nothing of it; the log says where."


class WorkStopped(Exception):  # noqa: N818 - not an error: the server is closing
    """The worker was told to stop while it had work."""


class WorkCalledOff(Exception):  # noqa: N818 - not an error: a person wanted it
    """Nobody wants the work any more."""


class Worker:
    """One spawned process with one piece of work at a time; started when first needed, and after a crash.

    niceness: how far it stands back where processors are short.
    """

    def __init__(self, niceness: int = 0) -> None:
        self._niceness = niceness
        self._context = multiprocessing.get_context("spawn")
        self._process: multiprocessing.process.BaseProcess | None = None
        self._connection: Connection | None = None
        self._stopped = False

    @property
    def pid(self) -> int | None:
        """The number of its process; None while there is none."""
        process = self._process
        return process.pid if process is not None and process.is_alive() else None

    def run(self, work: Work, payload: Payload, progress: Progress) -> Payload:
        """Do `work` over there. Raises StillairError, a sentence for a person; WorkStopped on stop().

        `progress` is called at least once a second or so, and ends the work by raising WorkCalledOff.
        """
        connection = self._ready()
        try:
            connection.send((work, payload))
            kind, content = self._wait(connection, progress)
        except (EOFError, OSError):
            self._end()
            if self._stopped:
                raise WorkStopped(STOPPED) from None
            raise StillairError(CRASHED) from None
        except BaseException:
            self._end()  # what it would still answer must not reach the next piece of work
            raise
        return self._answer(kind, content)

    def _wait(self, connection: Connection, progress: Progress) -> tuple[str, Any]:
        """What the work ended with."""
        last, heard = (0.0, "starting"), time.monotonic()
        while True:
            if self._stopped:
                raise WorkStopped(STOPPED)
            if connection.poll(POLL_S):
                kind, *content = connection.recv()
                if kind != "progress":
                    return kind, content[0]
                last, heard = (content[0], content[1]), time.monotonic()
                progress(*content)
            elif time.monotonic() - heard > QUIET_S:
                progress(*last)
                heard = time.monotonic()

    def stop(self) -> None:
        """End the process, with or without work."""
        self._stopped = True
        self._end()

    @staticmethod
    def _answer(kind: str, content: Any) -> Payload:
        if kind == "done":
            return dict(content)
        if kind == "mistake":
            logging.getLogger(__name__).error("work failed:\n%s", content)
        raise StillairError(MISTAKE if kind == "mistake" else content)

    def _ready(self) -> Connection:
        if self._process is None or not self._process.is_alive() or self._connection is None:
            self._end()
            self._connection, theirs = self._context.Pipe()
            told = (theirs, self._niceness)
            self._process = self._context.Process(target=_serve, args=told, daemon=True, name="stillair-worker")
            self._process.start()
            theirs.close()
        return self._connection

    def _end(self) -> None:
        process, self._process = self._process, None
        connection, self._connection = self._connection, None
        if process is not None and process.is_alive():
            process.terminate()
            process.join(5.0)
        if connection is not None:
            connection.close()


def _serve(connection: Connection, niceness: int) -> None:
    """The loop of the worker process: take, do, answer; ends when the server's end of the pipe closes."""
    if niceness and hasattr(os, "nice"):  # Windows has none
        os.nice(niceness)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's to answer
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            work, payload = connection.recv()
            connection.send(_do(work, payload, connection))


def _do(work: Work, payload: Payload, connection: Connection) -> tuple[str, Any]:
    def progress(fraction: float, text: str, shown: Payload | None = None, /) -> None:
        connection.send(("progress", fraction, text, shown))

    try:
        with disk_in_words():
            return ("done", work(payload, progress))
    except StillairError as refusal:
        return ("refused", str(refusal))
    except (BrokenPipeError, ConnectionResetError):
        raise
    except Exception:
        return ("mistake", traceback.format_exc())
