"""Bits flipped, bytes cut, zeroed and doubled anywhere in a recording: a sound log or one sentence, in good time."""

from __future__ import annotations

import time
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from asammdf import MDF, Signal
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.readers.buses import database, drive, write
from tests.readers.damaging import reads_or_refuses

ROWS = 300
LONGEST_S = 90.0  # the limit that a recording's own process has, and the start of that process
EDIT = st.tuples(
    st.sampled_from(["flip", "cut", "zero", "double", "bytes"]),
    st.floats(0, 1, exclude_max=True),
    st.integers(1, 64),
    st.binary(min_size=1, max_size=8),
)
EDITS = st.lists(EDIT, min_size=1, max_size=6)
HEALTH = [HealthCheck.too_slow, HealthCheck.data_too_large]
BUS_FORMS = ("log", "asc", "trc", "blf", "csv")
# asammdf's object of a file that it could not open complains when it is let go, at a time nobody can tell
pytestmark = pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")


def mutated(data: bytes, edits: list[tuple[str, float, int, bytes]]) -> bytes:
    """The edits one after the other; those near 0 come into headers, which a parser believes most."""
    made = bytearray(data)
    for kind, place, length, more in edits:
        at = int(place * place * len(made))
        if kind == "flip" and made:
            made[at] ^= 1 << (length % 8)
        elif kind == "cut":
            del made[at:]
        elif kind == "zero":
            made[at : at + length] = bytes(len(made[at : at + length]))
        elif kind == "double":
            made[at:at] = made[at : at + length]
        else:
            made[at : at + len(more)] = more
    return bytes(made)


def holds(name: str, data: bytes, signals: bytes | None = None) -> None:
    with TemporaryDirectory() as folder:
        path, base = Path(folder) / name, Path(folder) / "car.dbc"
        path.write_bytes(data)
        if signals is not None:
            base.write_bytes(signals)
        begun = time.monotonic()
        reads_or_refuses(path, base if signals is not None else None)
        assert time.monotonic() - begun < LONGEST_S


@cache
def recorded(form: str) -> tuple[bytes, bytes | None]:
    """A sound recording of a form, and the database that it needs."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        if form in BUS_FORMS:
            return write(folder / f"run.{form}", drive(40)).read_bytes(), database(folder).read_bytes()
        time_s = np.arange(ROWS) / 100.0
        if form == "mf4":
            with MDF(version="4.10") as mdf:
                mdf.append([Signal(20 - time_s, time_s, name="speed", unit="m/s")])
                return Path(mdf.save(folder / "run.mf4")).read_bytes(), None
        pq.write_table(pa.table({"time": time_s, "speed [m/s]": 20 - time_s}), folder / "run.parquet")
        return (folder / "run.parquet").read_bytes(), None


@pytest.mark.parametrize("form", BUS_FORMS)
@settings(max_examples=40, deadline=None, suppress_health_check=HEALTH)
@given(edits=EDITS)
def test_recordings_of_a_bus(form: str, edits: list[tuple[str, float, int, bytes]]) -> None:
    data, signals = recorded(form)
    holds(f"run.{form}", mutated(data, edits), signals)


@settings(max_examples=150, deadline=None, suppress_health_check=HEALTH)
@given(edits=EDITS)
def test_parquet(edits: list[tuple[str, float, int, bytes]]) -> None:
    holds("run.parquet", mutated(recorded("parquet")[0], edits))


@settings(max_examples=10, deadline=None, suppress_health_check=HEALTH)
@given(edits=EDITS)
def test_mdf(edits: list[tuple[str, float, int, bytes]]) -> None:
    """Each is read by a process of its own, which takes a second to start."""
    holds("run.mf4", mutated(recorded("mf4")[0], edits))


@pytest.mark.parametrize("form", [*BUS_FORMS, "parquet", "mf4"])
def test_what_is_not_damaged_is_read(form: str) -> None:
    data, signals = recorded(form)
    holds(f"run.{form}", data, signals)
