"""Malformed logs: tables of text in every layout, recordings of buses, MDF and Parquet, each sound, then damaged."""

from __future__ import annotations

import gzip
import io
import random
import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.studies.fuzz_files import NUMBERS, WORDS, Case, damaged_name, mutate

HEADS = (
    "time", "time [s]", "t", "Zeit (s)", "clock", "gps_speed [km/h]", "v", "speed", "WheelSpeedFL [rpm]",
    "damper_fl [mm]", "latitude", "longitude", "heading", "throttle [%]", "brake", "gear", "ride height front",
    "pushrod", "x", "x", "",
)  # fmt: skip
ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le", "utf-32", "utf-7")
FRAMES = ("log", "asc", "trc", "blf", "csv")
MOST_ROWS = 400
MADE_AT = (  # where a recording tells the moment or the place at which it was written
    (rb"(?m)^(date|begin triggerblock|Begin Triggerblock) .*$", rb"\1 Sat May 9 10:00:00.000 2026"),
    (rb"STARTTIME=[\d.]+", b"STARTTIME=46151.4"), (rb"(?m)^;   (/|Start t).*$", b";"),
)  # fmt: skip
MADE_AT_BYTE = {b"##HD": 72, b"##FH": 40}  # the same in MDF, behind a block's head and its links


def log_case(seed: int, chance: random.Random) -> Case:
    """A log, sent to a day as a run."""
    form, data = _content(chance)
    if chance.random() < 0.05:
        data = gzip.compress(data, 1, mtime=0)
    fields = {
        "setup": chance.choice(("A", "A", "A", "B", "Z", "")), "start": chance.choice(("", "", "10:05", *NUMBERS[:6])),
        "driver": chance.choice(("72", "72", *NUMBERS[:8])), "direction": chance.choice(("", "out", "back", "up")),
        "coasting": chance.choice(("", "neutral", "x")), "notes": chance.choice(WORDS),
    }  # fmt: skip
    if chance.random() < 0.97:
        fields = {"setup": "A", "start": "", "driver": "72", "direction": "", "coasting": "neutral", "notes": ""}
    name = damaged_name(f"run{seed}.{form}", chance)
    return Case(seed, "log", name, data, {name: [value] for name, value in fields.items()})


def _content(chance: random.Random) -> tuple[str, bytes]:
    which = chance.random()
    if which < 0.62:
        data = _text(chance)
        return "csv", mutate(data, chance) if chance.random() < 0.4 else data
    if which < 0.66:
        return chance.choice(("csv", "mf4", "parquet", "log")), chance.randbytes(chance.choice((1, 7, 300, 20_000)))
    if which < 0.80:
        form = chance.choice(FRAMES)
        return form, mutate(_frames(form), chance)
    if which < 0.86:
        return "dbc", mutate(_database(), chance)
    if which < 0.94:
        return "parquet", mutate(_parquet(), chance)
    return "mf4", mutate(_mdf(), chance)


def _text(chance: random.Random) -> bytes:
    """A table of text: some of it sound, most cells of some columns not."""
    count, separator = chance.choice((0, 1, 2, 3, 60, MOST_ROWS)), chance.choice((",", ",", ";", "\t", " ", "|"))
    columns = chance.choice((1, 2, 3, 5, 9, 9, 400))
    if columns == 400 and chance.random() < 0.5:
        columns, count = 3000, min(count, 20)
    heads = [chance.choice(HEADS) for _ in range(columns)]
    if chance.random() < 0.7:
        heads[:2] = ["time [s]", "gps_speed [km/h]"][:columns]
    wild = {at: chance.choice((0.0, 0.0, 0.02, 0.5, 1.0)) for at in range(columns)}
    rows = [[_cell(row, at, wild[at], chance) for at in range(columns)] for row in range(count)]
    lines = [separator.join(line) for line in (heads, *rows)]
    _disturb(lines, separator, chance)
    text = chance.choice(("\n", "\n", "\r\n", "\r")).join(lines) + chance.choice(("", "\n"))
    if chance.random() < 0.1:
        text = text.replace(".", ",")
    return text.encode(chance.choice(ENCODINGS) if chance.random() < 0.3 else "utf-8", "replace")


def _cell(row: int, column: int, wild: float, chance: random.Random) -> str:
    if chance.random() < wild:
        return chance.choice(NUMBERS if chance.random() < 0.8 else WORDS)
    if column == 0:
        return f"{row / 10:.1f}"
    return f"{max(0.0, 90 - abs(row - 150) / 3):.2f}" if column == 1 else f"{chance.gauss(20, 3):.3f}"


def _disturb(lines: list[str], separator: str, chance: random.Random) -> None:
    """Lines that do not belong, are too long, too short, quoted and never closed, or come twice."""
    for _ in range(chance.choice((0, 0, 0, 1, 2, 5))):
        at = chance.randrange(len(lines) + 1)
        line = chance.choice((
            "", "# a remark", separator * 500, '"never closed' + separator, "x" * 200_000, "\x00" * 50,
            "s" + separator + "km/h", chance.choice(WORDS), separator.join(NUMBERS),
            lines[at - 1] if at else "", "9" * 3000, '"a\nb"' * 20,
        ))  # fmt: skip
        lines.insert(at, line)
    if chance.random() < 0.1:
        chance.shuffle(lines)


@cache
def _frames(form: str) -> bytes:
    from tests.readers.buses import drive, write

    with TemporaryDirectory() as folder:
        data = write(Path(folder) / f"run.{form}", drive(40)).read_bytes()
    for there, instead in MADE_AT if form in ("asc", "trc") else ():
        data = re.sub(there, instead, data)
    return data


@cache
def _database() -> bytes:
    from tests.readers.buses import DBC

    return DBC.encode("cp1252")


@cache
def _parquet() -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    out, times = io.BytesIO(), [i / 10 for i in range(300)]
    pq.write_table(pa.table({"time": times, "gps_speed [m/s]": [25 - t / 3 for t in times]}), out)
    return out.getvalue()


@cache
def _mdf() -> bytes:
    import numpy as np
    from asammdf import MDF, Signal

    time_s = np.arange(300) / 10.0
    with TemporaryDirectory() as folder, MDF(version="4.10") as mdf:
        mdf.append([Signal(25 - time_s / 3, time_s, name="gps_speed", unit="m/s")])
        data = bytearray(Path(mdf.save(Path(folder) / "run.mf4")).read_bytes())
    for block, at in MADE_AT_BYTE.items():
        place = data.find(block)
        while place >= 0:
            data[place + at : place + at + 8] = bytes(8)
            place = data.find(block, place + 1)
    return bytes(data)
