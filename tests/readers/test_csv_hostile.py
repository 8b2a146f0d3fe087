"""Whatever a file holds: a sound log, or one LogError with one sentence."""

import numpy as np
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from server.errors import LogError
from server.readers.csv_log import read_csv_log
from server.testday.roles import assign
from tests.readers.logs import is_sound, lines

GOOD = [
    "time,speed\n" + lines(lambda i: f"{i / 10},{i}.5", 20),
    "Zeit [s];v [km/h]\n" + lines(lambda i: f"{i / 10};{i}.5".replace(".", ","), 20),
    "Date\tTime\tLAT\tGpsSpeed\n" + lines(lambda i: f"5/23/2026\t09:00:{i:02d}\t4916.{10 + i}N\t{i}", 20),
    "time,signal,value\n" + lines(lambda i: f"{i / 10},speed,{i}\n{i / 10},tps,{i}", 12),
    '"time","a","a"\n' + lines(lambda i: f'"{i / 10}","{i}","1,234.5"', 20),
]
PIECES = [
    ",",
    ";",
    "\t",
    "\n",
    "\r\n",
    '"',
    "#",
    "-9999",
    "NaN",
    "1e308",
    "1e999",
    "\0",
    ":",
    "2026-05-09",
    "inf",
]
PIECES += [
    "99/99/9999",
    "12:00:00",
    " ",
    "time",
    "9" * 30,
    "N",
    "|",
    "\u0663",
    "0x1F",
    "1_0",
    "True",
    "\x1a",
    "1.2.3",
]
FRAGMENT = st.one_of(
    st.sampled_from(PIECES).map(str.encode),
    st.binary(max_size=4),
    st.text(max_size=4).map(lambda t: t.encode("utf-8", "replace")),
)
EDITS = st.lists(st.tuples(st.floats(0, 1), st.integers(0, 30), FRAGMENT), min_size=1, max_size=25)


def reads_or_refuses(data: bytes) -> None:
    try:
        raw = read_csv_log(data, name="x.csv")
    except LogError as error:
        sentence = str(error)
    else:
        sentence = raw.description
        assert is_sound(raw)
        assert raw.channels
        assert all(np.isfinite(s.values).all() for s in assign(raw, {}).signals.values())
    assert sentence.strip()
    assert "\n" not in sentence


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(GOOD), EDITS, st.sampled_from(["utf-8", "utf-16", "cp1252"]))
def test_damaged_logs(good, edits, encoding):
    data = good.encode(encoding)
    for place, removed, fragment in edits:
        at = int(place * len(data))
        data = data[:at] + fragment + data[at + removed :]
    reads_or_refuses(data)


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=300))
@example(b"\xff\xfe")
@example(b"\xff\xfe1\x00")
@example(b",\n,\n1,2\n")
def test_any_bytes(data):
    reads_or_refuses(data)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.lists(st.sampled_from([*PIECES, "1", "2.5", "-3", "a", "s"]), min_size=1, max_size=5),
        min_size=1,
        max_size=20,
    )
)
def test_any_table(rows):
    reads_or_refuses("\n".join(",".join(row) for row in rows).encode())
