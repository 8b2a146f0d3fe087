"""Coast-down times typed by hand: both forms, units, settings, and one sentence for what cannot be."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from server.errors import LogError
from server.readers import open_log
from server.readers.join import join_run
from server.readers.load_day import load_day
from server.readers.typed_times import SECONDS_U_S, is_typed_times, read_typed_times
from server.readers.typed_times_write import typed_times_csv
from server.testday.folder import read_folder
from server.testday.values import LogFile, Run, TypedTimes
from tests.testday.folders import MINIMAL, make

MARKS = """speed_kmh,seconds,pass,direction
80,0.0,1,out
70,6.1,1,out
60,13.5,1,out
80,0.0,1,back
70,6.8,1,back
60,15.0,1,back
"""
TABLE = """speed_from_kmh;speed_to_kmh;seconds_out;seconds_back
80;70;6,1;6,8
70;60;7,4;8,2
80;70;6,0;6,9
"""


def typed(text: str) -> TypedTimes:
    found = read_typed_times(text.encode(), name="times.csv").typed
    assert found is not None
    return found


def spans(found: TypedTimes) -> list[tuple[str | None, list[float], list[float]]]:
    """Direction, seconds from the first mark, speeds in km/h of each coast-down."""
    return [
        (c.direction, np.round(c.time_s - c.time_s[0], 6).tolist(), np.round(3.6 * c.speed_mps, 6).tolist())
        for c in found.coast_downs
    ]


def test_marks_with_pass_and_direction() -> None:
    assert spans(typed(MARKS)) == [
        ("out", [0.0, 6.1, 13.5], [80.0, 70.0, 60.0]),
        ("back", [0.0, 6.8, 15.0], [80.0, 70.0, 60.0]),
    ]


def test_seconds_between_speeds_both_ways() -> None:
    """A line that goes on where the one before ended is the same coast-down; a line that begins anew is another."""
    assert spans(typed(TABLE)) == [
        ("out", [0.0, 6.1, 13.5], [80.0, 70.0, 60.0]),
        ("back", [0.0, 6.8, 15.0], [80.0, 70.0, 60.0]),
        ("out", [0.0, 6.0], [80.0, 70.0]),
        ("back", [0.0, 6.9], [80.0, 70.0]),
    ]


def test_both_forms_tell_the_same() -> None:
    lines = "\n".join(TABLE.splitlines()[:-1])
    assert spans(typed(MARKS)) == spans(typed(lines))


def test_coast_downs_stand_one_after_the_other_with_time_to_turn() -> None:
    found = typed(TABLE).coast_downs
    for before, after in pairwise(found):
        assert after.time_s[0] - before.time_s[-1] == pytest.approx(90.0)


@pytest.mark.parametrize(("unit", "mps"), [("kmh", 1 / 3.6), ("mps", 1.0), ("mph", 0.44704)])
def test_the_header_spells_the_unit(unit: str, mps: float) -> None:
    """The international mile is 1609.344 m (NIST SP 811, B.8)."""
    found = typed(f"speed_{unit};seconds;direction\n40;0;out\n30;9;out\n")
    assert found.coast_downs[0].speed_mps == pytest.approx([40 * mps, 30 * mps])


@pytest.mark.parametrize("header", ["Speed [km/h];Seconds", "speed_kmh,seconds", "SPEED (km/h)\tseconds"])
def test_headers_as_people_spell_them(header: str) -> None:
    separator = next(s for s in ";\t," if s in header)
    text = "\n".join([header, separator.join(("80", "0")), separator.join(("70", "1:06.5"))])
    assert spans(typed(text)) == [(None, [0.0, 66.5], [80.0, 70.0])]


def test_without_a_pass_column_a_coast_down_ends_where_the_speed_goes_up() -> None:
    found = typed("speed_kmh;seconds\n80;0\n70;6\n80;0\n70;7\n")
    assert [c[1] for c in spans(found)] == [[0.0, 6.0], [0.0, 7.0]]


def test_defaults_and_settings() -> None:
    bare = typed(MARKS)
    assert bare.seconds_u_s == pytest.approx(np.hypot(SECONDS_U_S, 0.1 / np.sqrt(12.0)))
    assert (bare.gain.value, bare.gain.u, bare.gain.source) == (1.05, 0.03, "default")
    told = typed(
        "# stopwatch of the gazebo\nseconds_u,0.3\nspeedometer_gain,1.04\nspeedometer_rel_u,0.01\n"
        "speedometer_offset_kmh,1.8\nspeed_u_kmh,0.9\n" + MARKS
    )
    assert told.seconds_u_s == 0.3
    assert (told.gain.value, told.gain.u, told.gain.source) == (1.04, pytest.approx(0.0104), "typed")
    assert (told.offset_mps.value, told.speed_u_mps) == (pytest.approx(0.5), pytest.approx(0.25))


def test_whole_seconds_are_less_sure() -> None:
    """A rounded display: a uniform error of the last place has u = step/√12 (GUM, JCGM 100:2008, F.2.2.1)."""
    found = typed("speed_kmh;seconds\n80;0\n70;6\n")
    assert found.seconds_u_s == pytest.approx(np.hypot(0.2, 1.0 / np.sqrt(12.0)))


def test_the_speedometers_default_lies_within_the_regulation() -> None:
    """UN Regulation 39: 0 ≤ V1 − V2 ≤ V2/10 + 4 km/h, V1 displayed, V2 true (from memory)."""
    found = typed(MARKS)
    for true_kmh in (40.0, 80.0, 120.0):
        centre = (found.gain.value - 1.0) * true_kmh + 3.6 * found.offset_mps.value
        u = np.hypot(found.gain.u * true_kmh, 3.6 * found.offset_mps.u)
        most = true_kmh / 10.0 + 4.0
        assert centre - 2.0 * u == pytest.approx(0.0, abs=1.6)
        assert 0.75 * most < centre + 2.0 * u < 1.2 * most


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (MARKS.replace("6.1", "6.x"), "times.csv: line 3: seconds '6.x' is no number."),
        (MARKS.replace("70,6.1", "70,"), "times.csv: line 3: seconds is empty."),
        (MARKS.replace("60,13.5", "75,13.5"), "line 4: 75 is not below the speed of line 3"),
        (MARKS.replace("13.5", "6.0"), "line 4: 6.0 s is not after the mark of line 3."),
        (MARKS.replace("6.1,1,out", "6.1,1,left"), "line 3: direction 'left' is neither out nor back."),
        (MARKS.replace("70,6.1", "700,6.1"), "line 3: speed 700 is no speed of a car."),
        (MARKS.replace("6.1", "6,1"), "line 3 has more cells than the header (a comma inside a number?"),
        (TABLE.replace("70;60", "60;70"), "line 3: speed_to is not below speed_from."),
        (TABLE.replace("_kmh", ""), "the header does not say the unit of speed_from; write speed_from_kmh"),
        ("speedometer_gain;1.9\n" + TABLE, "line 1: speedometer_gain 1.9 cannot be"),
        ("seconds_u;0.2\nseconds_u;0.3\n" + TABLE, "line 2 gives seconds_u a second time"),
        ("speed_kmh,seconds,pass\n80,0,1\n", "line 2 is the only mark of its coast-down"),
        ("speed_kmh,seconds,pass\n", "no line follows the header"),
        ("speed_kmh,seconds\n80,0\n70,0.4\n", "no table of typed times"),
    ],
)
def test_what_cannot_be_is_said_in_one_sentence_with_its_line(text: str, sentence: str) -> None:
    with pytest.raises(LogError) as said:
        read_typed_times(text.encode(), name="times.csv")
    assert sentence in str(said.value)
    assert str(said.value).count(". ") == 0


@pytest.mark.parametrize(
    "text",
    [
        "time,speed_kmh\n0,80\n1,79\n",
        "speed_kmh,seconds\n" + "".join(f"{80 - 0.2 * k:.1f},{k / 10:.1f}\n" for k in range(50)),
        "speed_kmh,seconds\n" + "".join(f"{80 - 0.2 * k:.1f},{2 * k}\n" for k in range(100)),
        "speed_kmh,seconds,rpm\n80,0,0\n70,6,0\n",
        "",
    ],
)
def test_a_loggers_file_is_not_taken_for_one(text: str) -> None:
    assert not is_typed_times(text.encode())


def test_open_log_takes_it_by_its_header(tmp_path: Path) -> None:
    file = tmp_path / "times01.csv"
    file.write_text(TABLE)
    log = open_log(file)
    assert log.typed is not None
    assert len(log.channels[0].values) == sum(len(c.time_s) for c in log.typed.coast_downs)
    assert "4 coast-downs with 10 marks, 2 out, 2 back" in log.description


def test_the_pages_rows_come_back_as_typed() -> None:
    rows = [("80", "70", "6,1", "6.8"), ("70", "60", "7.4", ""), ("", "", "", "")]
    sheet = typed_times_csv(rows, settings={"speedometer_gain": "1,04", "seconds_u": ""})
    found = typed(sheet.decode())
    assert spans(found) == [
        ("out", [0.0, 6.1, 13.5], [80.0, 70.0, 60.0]),
        ("back", [0.0, 6.8], [80.0, 70.0]),
    ]
    assert found.gain.value == 1.04
    with pytest.raises(ValueError, match="there is no 'speedo'"):
        typed_times_csv(rows, settings={"speedo": "1"})


def test_a_folder_with_nothing_but_typed_times(tmp_path: Path) -> None:
    make(tmp_path, MINIMAL)
    (tmp_path / "logs").mkdir(exist_ok=True)
    (tmp_path / "logs/run01.csv").write_text(MARKS)
    (recording,) = load_day(tmp_path).runs[0].recordings
    assert recording.signals == {}
    assert recording.typed is not None


def test_the_part_of_a_file_that_a_run_takes(tmp_path: Path) -> None:
    make(tmp_path, MINIMAL)
    day = read_folder(tmp_path)
    log = read_typed_times(MARKS.encode(), name="t.csv")
    run = Run(1, "A", (LogFile("t.csv", 5.0, from_s=20.0),), day.runs[0].driver_mass_kg)
    (recording,) = join_run(run, lambda *_, **__: log, day.car, {}).recordings
    assert recording.typed is not None
    assert [(c.direction, c.time_s[0]) for c in recording.typed.coast_downs] == [("back", 13.5 + 90.0 + 5.0)]
    nothing = Run(1, "A", (LogFile("t.csv", from_s=900.0),), run.driver_mass_kg)
    with pytest.raises(LogError, match=r"t\.csv has no samples from 900 s; it runs from 0\.00 s"):
        join_run(nothing, lambda *_, **__: log, day.car, {})
