"""Recordings of a real car and other real tables, read where they are, skipped where not."""

import datetime as dt

import numpy as np
import pytest

from server.errors import LogError
from server.readers import open_log
from server.readers.join import join_run
from server.testday.values import LogFile, Quantity, Run
from tests.readers.cars import CAR
from tests.readers.logs import SHARED, channel, is_sound

# RSK Twizy EV dataset, N. Ait Malek Youssef et al., CC-BY-4.0: 1 Hz, speeds in km/h by its description
DRIVES = sorted((SHARED / "rsk_twizy").glob("*.csv"))
OTHERS = [
    *sorted((SHARED / "ahmed_fsae_cfd").glob("*.csv")),
    *sorted((SHARED / "epa_test_cars").glob("*.csv")),
]
RECORDINGS = sorted((SHARED / "mdf4_samples").glob("*.mf4"))
NO_DATA = "the shared recordings (rsk_twizy, mdf4_samples …) are not beside the checkout"


def shared(paths):
    return paths or [pytest.param(None, marks=pytest.mark.skip(reason=NO_DATA))]


@pytest.mark.parametrize("path", shared(DRIVES), ids=lambda p: getattr(p, "name", None))
def test_a_drive_is_read(path):
    raw = open_log(path)
    assert is_sound(raw)
    first = path.read_text().splitlines()[1].split(",")
    hours, minutes, seconds = (int(part) for part in first[1].split(":"))
    assert raw.start_clock_s == hours * 3600 + minutes * 60 + seconds
    assert channel(raw, "GpsSpeed").values[0] == float(first[8])
    assert np.median(np.diff(channel(raw, "Speed").time_s)) == 1.0
    month, day, year = (int(part) for part in first[0].split("/"))
    assert raw.start_date in (dt.date(year, month, day), None)
    assert raw.start_date is not None or max(day, month) <= 12


@pytest.mark.parametrize("path", shared(DRIVES), ids=lambda p: getattr(p, "name", None))
def test_a_drive_plays_its_roles(path):
    run = Run(7, "A", (LogFile(path.name),), Quantity(75.0))
    (recording,) = join_run(
        run, lambda file, **named: open_log(path.parent / file, **named), CAR, {}
    ).recordings
    played = {role: signal.name for role, signal in recording.signals.items()}
    assert played == {
        "gps_speed": "GpsSpeed",
        "vehicle_speed": "Speed",
        "latitude": "LAT",
        "longitude": "LON",
        "gear": "Mode",
    }
    gps, bus = recording.signals["gps_speed"], recording.signals["vehicle_speed"]
    assert 60 / 3.6 < gps.values.max() < 90 / 3.6  # the car is built for 80 km/h
    assert 60 / 3.6 < bus.values.max() < 90 / 3.6
    at_gps = np.interp(gps.time_s, bus.time_s, bus.values)
    moving = (at_gps > 5.0) & (gps.values > 1.0)
    assert np.median(at_gps[moving] / gps.values[moving]) == pytest.approx(1.0, abs=0.06)
    assert np.corrcoef(at_gps, gps.values)[0, 1] > 0.6
    assert set(recording.signals["gear"].values) <= {-1.0, 0.0, 1.0}
    assert np.degrees(np.median(recording.signals["latitude"].values)) == pytest.approx(33.97, abs=0.1)
    assert {f.run for f in recording.findings} <= {7}


@pytest.mark.parametrize("path", shared(OTHERS), ids=lambda p: getattr(p, "name", None))
def test_tables_that_are_no_logs(path):
    """Lists of cars and of computations: refused in a sentence, or read as the table they are."""
    try:
        told = open_log(path).description
    except LogError as error:
        told = str(error)
    assert told.startswith(path.name)


@pytest.mark.parametrize("path", shared(RECORDINGS), ids=lambda p: getattr(p, "name", None))
def test_measurement_files_are_opened_and_asked_for_a_speed(path):
    """Samples of asammdf's own tests, danielhrisca/asammdf, LGPL-3.0: odd names and units, no vehicle speed."""
    raw = open_log(path)
    assert raw.description.startswith(f"{path.name} was read as an ASAM MDF 4.10 recording; ")
    assert is_sound(raw)
    assert len({c.name for c in raw.channels}) == len(raw.channels) >= 3
    run = Run(1, "A", (LogFile(path.name),), Quantity(75.0))
    with pytest.raises(LogError, match=r"Run 1: no speed channel is there; .* holds '.*under \[channels\]"):
        join_run(run, lambda *_, **__: raw, CAR, {})
