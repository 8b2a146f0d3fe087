"""Logs of tests of the standing car: roles, calibrations, faults that stop no day."""

from pathlib import Path

import numpy as np
import pytest

from server.errors import LogError
from server.readers.join_stand import join_stand_log
from server.readers.load_day import driven_wheels, load_day, loading_roles
from server.testday.folder import read_folder
from server.testday.values import Calibration, Channel, Day, LogFile, RawLog
from tests.readers.cars import CAR
from tests.testday.folders import MINIMAL, make, texts

TIME = np.arange(200) / 10
WHEELS = ("wheel_speed_rl", "wheel_speed_rr")
RUN = "time [s],gps_speed [m/s]\n" + "".join(f"{n / 10:.1f},{20 - n / 20:.2f}\n" for n in range(100))
SPIN = "time [s],Wheel Speed RL [rpm],Wheel Speed RR [rpm],GPS A [km/h],GPS B [km/h]\n" + "".join(
    f"{n / 10:.1f},{800 - 3 * n},{802 - 3 * n},0,0\n" for n in range(200)
)
LOADING = "time [s],Damper FL [V],Damper FR [V],Ride Height Front [mm]\n" + "".join(
    f"{n / 10:.1f},{1 if n < 100 else 1.2},{1 if n < 100 else 1.1},{40 if n < 100 else 35}\n" for n in range(200)
)
STANDS = """
[calibration.damper_fl]
gain = 25.0
unit = "mm/V"
[calibration.damper_fr]
gain = 25.0
unit = "mm/V"
[[spin_downs]]
log = "logs/spin.csv"
from_s = 2.0
to_s = 8.0
[[axle_loadings]]
axle = "front"
mass_kg = 40
share = 1.0
log = "logs/loading.csv"
bare_from_s = 1
bare_to_s = 9
loaded_from_s = 11
loaded_to_s = 19
"""
FILES = {"logs/run01.csv": RUN, "logs/spin.csv": SPIN, "logs/loading.csv": LOADING}


def log(*columns: tuple[str, str | None], values=None) -> RawLog:
    values = 30.0 - TIME if values is None else values
    return RawLog("s.csv", tuple(Channel(name, unit, TIME, values) for name, unit in columns), "read.")


def join(raw: RawLog, cut: LogFile | None = None, car=CAR, day: dict | None = None, **channels: str):
    log_file = cut or LogFile("s.csv")
    return join_stand_log(log_file, WHEELS, lambda _: raw, car, channels=channels, day_channels=day or {})


def loaded(tmp_path: Path, toml: str = STANDS, files: dict[str, str] = FILES) -> Day:
    return load_day(make(tmp_path / "day", MINIMAL + toml, files))


def test_stand_tests_get_their_signals_in_si(tmp_path: Path) -> None:
    day = loaded(tmp_path)
    spin_down, loading = day.spin_downs[0].recording, day.axle_loadings[0].recording
    assert spin_down is not None
    assert loading is not None
    assert set(spin_down.signals) == set(WHEELS)  # two satellite speeds ask nothing here
    left = spin_down.signals["wheel_speed_rl"]
    assert (left.time_s[0], left.time_s[-1]) == (2.0, 8.0)
    assert left.values[0] == pytest.approx(740 * 2 * np.pi / 60 * 0.230)  # the default rolling radius
    assert set(loading.signals) == {"damper_fl", "damper_fr", "ride_height_front"}
    assert loading.signals["damper_fl"].values[-1] == pytest.approx(0.030)
    assert not texts(day, "stand-test-unused")


def test_a_ride_height_brings_the_notes_on_its_defaults(tmp_path: Path) -> None:
    said = texts(loaded(tmp_path), "default-used")
    assert any(
        text == "testday.toml: [car.front] tyre_rate_n_per_mm is not given; 90 ± 20 N/mm (one standard "
        "uncertainty) is used with the ride heights logged."
        for text in said
    )
    assert any("[car.front] ride_height_sensor_x_m is not given; 0 ± 0.05 m" in text for text in said)
    toml = MINIMAL.replace("[car]", "[car]\nfront.tyre_rate_n_per_mm = 95\nfront.ride_height_sensor_x_m = 0.1")
    quiet = load_day(make(tmp_path / "quiet", toml + STANDS, FILES))
    assert not any("tyre_rate" in text or "sensor_x" in text for text in texts(quiet, "default-used"))


def test_both_axles_stand_in_one_note(tmp_path: Path) -> None:
    run = "time [s],gps_speed [m/s],Ride Height Front [mm],Ride Height Rear [mm]\n" + "".join(
        f"{n / 10:.1f},{20 - n / 20:.2f},40,45\n" for n in range(100)
    )
    day = load_day(make(tmp_path / "day", MINIMAL, {"logs/run01.csv": run}))
    assert [text for text in texts(day, "default-used") if "tyre_rate" in text] == [
        "testday.toml: [car.front] and [car.rear] tyre_rate_n_per_mm is not given; 90 ± 20 N/mm (one standard "
        "uncertainty) is used with the ride heights logged."
    ]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"logs/spin.csv": None}, "logs/spin.csv"),
        ({"logs/spin.csv": ""}, "logs/spin.csv"),
        ({"logs/spin.csv": RUN}, "none of its columns is the rear left wheel's speed or the rear right wheel's"),
        ({"logs/spin.csv": SPIN.replace("[rpm]", "")}, "has no unit"),
    ],
)
def test_a_faulty_stand_log_is_a_finding_and_stops_no_day(tmp_path: Path, change, said: str) -> None:
    files = {name: text for name, text in {**FILES, **change}.items() if text is not None}
    day = loaded(tmp_path, files=files)
    (text,) = texts(day, "stand-test-unused")
    assert text.startswith("testday.toml: [[spin_downs]] 1 is not used: ")
    assert said in text
    assert "\n" not in text
    assert day.spin_downs[0].recording is None
    assert day.axle_loadings[0].recording is not None
    assert day.runs[0].recordings


def test_a_stand_log_outside_the_folder_is_refused(tmp_path: Path) -> None:
    from server.errors import DayFolderError

    (tmp_path / "secret.csv").write_text(SPIN)
    folder = make(tmp_path / "day", MINIMAL + STANDS, {**FILES, "logs/spin.csv": ""})
    (folder / "logs" / "spin.csv").unlink()
    (folder / "logs" / "spin.csv").symlink_to(tmp_path / "secret.csv")
    with pytest.raises(DayFolderError, match=r"\[\[spin_downs\]\] 1 log is 'logs/spin.csv', which leaves"):
        read_folder(folder)


def test_one_file_may_serve_a_run_and_several_tests(tmp_path: Path) -> None:
    both = RUN.replace("gps_speed [m/s]", "gps_speed [m/s],Wheel Speed RL [km/h]").replace(".1f", "")
    rows = ["time [s],gps_speed [m/s],Wheel Speed RL [km/h]"] + [f"{n / 10:.1f},20,{50 - n / 5}" for n in range(100)]
    both = "\n".join(rows) + "\n"
    toml = '[[spin_downs]]\nlog = "logs/run01.csv"\nto_s = 4\n[[spin_downs]]\nlog = "logs/run01.csv"\nfrom_s = 5\n'
    day = loaded(tmp_path, toml, {"logs/run01.csv": both})
    ends = [test.recording.signals["wheel_speed_rl"].time_s[[0, -1]].tolist() for test in day.spin_downs]
    assert ends == [[0.0, 4.0], [5.0, 9.9]]


def test_a_stand_test_of_another_day_changes_no_date(tmp_path: Path) -> None:
    dated = "Date,2026-05-08\n"
    plain = loaded(tmp_path / "a")
    other = loaded(tmp_path / "b", files={**FILES, "logs/spin.csv": dated + "\n" + SPIN})
    assert (plain.date, other.date) == (None, None)
    assert not texts(other, "log-date")


def test_the_tests_own_word_comes_first() -> None:
    raw = log(("A", "m/s"), ("Wheel Speed RL", "m/s"))
    assert join(raw, wheel_speed_rl="A").signals["wheel_speed_rl"].name == "A"
    assert join(raw, day={"wheel_speed_rl": "A"}).signals["wheel_speed_rl"].name == "A"
    of_runs = join(raw, day={"wheel_speed_rl": "not here"})
    assert of_runs.signals["wheel_speed_rl"].name == "Wheel Speed RL"
    with pytest.raises(LogError, match=r"^s.csv: no column 'B' as wheel_speed_rl = \"B\" says; it holds 'A', 'Wheel"):
        join(raw, wheel_speed_rl="B")


def test_a_calibration_reaches_a_stand_log() -> None:
    from dataclasses import replace

    car = replace(CAR, calibration={"wheel_speed_rl": Calibration(0.04, unit="(m/s)/Hz")})
    signal = join(log(("Wheel Speed RL", "Hz"), values=np.full(200, 500.0)), car=car).signals["wheel_speed_rl"]
    assert signal.values[0] == pytest.approx(20.0)


def test_a_cut_without_samples_is_said() -> None:
    with pytest.raises(LogError, match=r"s.csv has no samples from 90 s to its end\."):
        join(log(("Wheel Speed RL", "m/s")), LogFile("s.csv", from_s=90.0))


def test_roles_of_the_tests() -> None:
    from dataclasses import replace

    assert driven_wheels(CAR) == WHEELS
    assert driven_wheels(replace(CAR, driven="all")) == ("wheel_speed_fl", "wheel_speed_fr", *WHEELS)
    from tests.analysis.stand_days import loading

    assert loading_roles(loading("rear"))[:2] == ("damper_rl", "damper_rr")
