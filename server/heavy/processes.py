"""Several processes of this computer."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Any

from server.errors import StillairError
from server.heavy.pool import Said, Work, silent

THREAD_SETTINGS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
DIED = "A process that did the work ended without an answer, perhaps for want of memory; start the work again."


class Processes:
    """A pool of processes. workers: how many; None: one a core."""

    def __init__(self, workers: int | None = None) -> None:
        self._workers = workers or os.cpu_count() or 1

    def each(self, work: Work, tasks: Sequence[Any], said: Said) -> Iterator[tuple[int, Any]]:  # noqa: ARG002 - only ends are heard
        """See `Pool`."""
        context = multiprocessing.get_context("spawn")
        with _one_thread_a_worker(), ProcessPoolExecutor(self._workers, context) as pool:
            running = {pool.submit(work, task, silent): place for place, task in enumerate(tasks)}
            try:
                for future in as_completed(running):
                    yield running[future], future.result()
            except BrokenProcessPool:
                raise StillairError(DIED) from None
            finally:
                for future in running:
                    future.cancel()


@contextmanager
def _one_thread_a_worker() -> Iterator[None]:
    """Workers that start inside use one thread each in linear algebra."""
    before = {name: os.environ.get(name) for name in THREAD_SETTINGS}
    os.environ.update(dict.fromkeys(THREAD_SETTINGS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
