"""Ratios of times, measured in one run beside whatever else the machine does; a time by itself is never a test.

Times are processor seconds of jobs taken in turn. What runs beside a test bends a ratio now and then (caches and clocks
are shared), a slow program is slow every time: a ratio over its limit is measured again, and must hold once in three.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

ROUNDS = 9
TRIES = 3


def seconds(job: Callable[[], object]) -> float:
    """Processor time of a job [s]."""
    start = time.process_time()
    job()
    return time.process_time() - start


def times_in_turn(*jobs: Callable[[], object], rounds: int = ROUNDS) -> np.ndarray:  # type: ignore[type-arg]
    """Processor time [s] of each job in each round, shape (rounds, jobs)."""
    return np.array([[seconds(job) for job in jobs] for _ in range(rounds)])


def least_times(*jobs: Callable[[], object], rounds: int = ROUNDS) -> list[float]:
    """Least processor time of each job [s], the jobs taken in turn."""
    return [float(least) for least in times_in_turn(*jobs, rounds=rounds).min(axis=0)]


def ratio(job: Callable[[], object], to: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Least time of a job over the least time of another."""
    bare, whole = least_times(to, job, rounds=rounds)
    return whole / bare


def settled(measure: Callable[[], float], most: float) -> float:
    """The first ratio within its limit, of three measurements at most; else the least of them."""
    found = np.inf
    for _ in range(TRIES):
        found = min(found, measure())
        if found <= most:
            break
    return float(found)
