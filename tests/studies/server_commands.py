"""The studies of a real server: killed, stormed, read by many."""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from server.locations import default_data_folder, use_numba_cache
from tests.postgres import Cluster, missing_postgres
from tests.studies.fuzz import storm
from tests.studies.kills import kill_at_chance_moments as kill_at_chance_moments_of_all
from tests.studies.lost_answers import lose_answers
from tests.studies.prompt import report as report_prompt
from tests.studies.schema import hold as hold_schema
from tests.studies.tablets import afternoon
from tests.uploads.killed import kill_at_chance_moments


def uploads(asked: argparse.Namespace) -> int:
    with tempfile.TemporaryDirectory() as folder:
        count = kill_at_chance_moments(Path(folder), asked.moments, asked.first_seed)
    print(f"{count.moments} kills, {count.in_the_middle} of them with a file half sent; {len(count.faults)} faults")
    print(*count.faults, sep="\n", end="")
    return 1 if count.faults else 0


def kills(asked: argparse.Namespace) -> int:
    use_numba_cache(default_data_folder())
    with _cluster(asked.postgres) as cluster, tempfile.TemporaryDirectory() as folder:
        count = kill_at_chance_moments_of_all(Path(folder) / "data", asked.moments, asked.first_seed, cluster)
    print(count)
    print(*count.faults, sep="\n", end="")
    return 1 if count.faults else 0


@contextmanager
def _cluster(is_asked: bool) -> Iterator[Cluster | None]:
    """A PostgreSQL server for as long as the study takes, where one is asked for."""
    if not is_asked:
        yield None
        return
    if missing := missing_postgres():
        sys.exit(missing)
    cluster = Cluster()
    try:
        yield cluster
    finally:
        cluster.stop()


def fuzz(asked: argparse.Namespace) -> int:
    use_numba_cache(default_data_folder())
    with tempfile.TemporaryDirectory() as folder:
        found = storm(Path(folder) / "data", asked.files, asked.first_seed, patience=asked.patience, say=_say)
    print(found, *found.faults, sep="\n")
    return 1 if found.faults else 0


def schema(asked: argparse.Namespace) -> int:
    told = hold_schema(asked.examples)
    print(told, *told.faults, sep="\n")
    return 1 if told.faults else 0


def tablets(asked: argparse.Namespace) -> int:
    use_numba_cache(default_data_folder())
    with tempfile.TemporaryDirectory() as folder:
        seen = afternoon(Path(folder) / "data", asked.minutes, _say)
    print(seen, *seen.faults, sep="\n")
    return 0 if seen.holds else 1


def entries(asked: argparse.Namespace) -> int:
    with tempfile.TemporaryDirectory() as folder:
        sent = lose_answers(Path(folder), asked.moments, asked.first_seed)
    print(sent, *sent.faults, sep="\n")
    return 1 if sent.faults else 0


def prompt(asked: argparse.Namespace) -> int:
    for line in report_prompt(asked.day, asked.runs, asked.times):
        print(line, flush=True)
    return 0


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)
