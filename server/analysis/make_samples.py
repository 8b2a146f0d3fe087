"""Write the made-up season of sample_data: `python -m server.analysis.make_samples [FOLDER]`.

The same bytes every time: the truth stands in `sample_season`, the seeds beside it.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from server.analysis import sample_texts as texts
from server.analysis.sample_logs import Column, LogStyle, Piece, clock_text, log_bytes
from server.analysis.sample_predictions import FORCES_FILE, forces_csv, predictions_csv
from server.analysis.sample_season import SampleDay, season
from server.analysis.sample_stands import LOADING_LOG, SPIN_LOG, STANDS_TOML, loading_log, spin_down_log
from server.analysis.sample_tufts import PHOTOS, folder_tufts, photo
from server.analysis.simulate import SimulatedDay, simulate_day
from server.testday.folder_write_tufts import tuft_files
from server.testday.values import Run, Signal

KMH, DEGREES, PER_CENT, BAR, MM = 3.6, 57.29577951308232, 100.0, 1e-5, 1e3
BOX_FAST_S, BOX_LATE_S = 2.37, 1.8
DECLINATION_DEG = -1.0
PHOTO_QUALITY = 72

WHEELS = ("wheel_speed_fl", "wheel_speed_fr")
CORNERS = ("fl", "fr", "rl", "rr")


@dataclass(frozen=True, slots=True)
class _Files:
    """A day's files by name inside its folder, and its [[runs]] tables."""

    logs: dict[str, bytes]
    runs: str


def write_samples(folder: Path) -> None:
    """Write every day's folder and truth.json into `folder`."""
    truths = {}
    for day in season():
        simulated = simulate_day(day.plan, day.seed)
        _write_day(folder / day.folder, day, simulated)
        truths[day.folder] = _truth(day, simulated)
    _write(folder / FORCES_FILE, forces_csv())
    text = json.dumps(truths, ensure_ascii=False, indent=1)
    (folder / "truth.json").write_text(text + "\n", encoding="utf-8", newline="\n")


def _write_day(folder: Path, day: SampleDay, simulated: SimulatedDay) -> None:
    (folder / "logs").mkdir(parents=True, exist_ok=True)
    files = FILES[day.folder](simulated)
    for name, content in files.logs.items():
        (folder / name).write_bytes(content)
    weather = simulated.day.weather
    filled = TEXTS[day.folder].format(
        runs=files.runs,
        weather=texts.weather_tables(weather) if "{weather}" in TEXTS[day.folder] else "",
        stands=STANDS_TOML,
    )
    _write(folder / "testday.toml", filled)
    if "calm" in day.folder:
        _write(folder / "predictions.csv", predictions_csv(("A", "B", "C")))
        _write_tufts(folder)
    if "gusty" in day.folder:
        _write(folder / "weather.csv", texts.weather_csv(weather, DECLINATION_DEG))


def _write_tufts(folder: Path) -> None:
    from PIL import Image

    for path, setup in zip(PHOTOS, "AB", strict=True):
        (folder / path).parent.mkdir(exist_ok=True)
        Image.fromarray(photo(setup)).save(folder / path, "JPEG", quality=PHOTO_QUALITY)
    for path, content in tuft_files(folder_tufts()).items():
        (folder / path).write_bytes(content)


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")


def _truth(day: SampleDay, simulated: SimulatedDay) -> dict[str, object]:
    setups = {
        name: {quantity: float(f"{value:.6g}") for quantity, value in values.items()}
        for name, values in simulated.truth.setups.items()
    }
    return {"seed": day.seed, "reference_speed_mps": day.plan.reference_speed_mps, "setups": setups}


def _shakedown(simulated: SimulatedDay) -> _Files:
    columns = [
        Column("Wheel speed FL", "km/h", WHEELS[0], KMH),
        Column("Wheel speed FR", "km/h", WHEELS[1], KMH),
        Column("GPS speed", "km/h", "gps_speed", KMH),
        Column("Heading", "deg", "heading", DEGREES, decimals=1),
        Column("Throttle", "%", "throttle", PER_CENT, decimals=0),
        Column("Brake pressure", "bar", "brake_pressure", BAR, decimals=1),
    ]
    style = LogStyle(newline="\r\n", units="row", time_header="Time")
    return _one_log_a_run(simulated, columns, style)


def _calm_morning(simulated: SimulatedDay) -> _Files:
    dampers = [Column(f"damper {corner.upper()}", "V", f"damper_{corner}", MM / 12.5, 2.5, 4) for corner in CORNERS]
    columns = [
        Column("v front left", "km/h", WHEELS[0], KMH),
        Column("v front right", "km/h", WHEELS[1], KMH),
        Column("v satellite", "km/h", "gps_speed", KMH),
        Column("latitude", "°", "latitude", DEGREES, decimals=7),
        Column("longitude", "°", "longitude", DEGREES, decimals=7),
        Column("right pedal", "%", "throttle", PER_CENT, decimals=0),
        Column("brake pressure", "bar", "brake_pressure", BAR, decimals=1),
        *dampers,
        Column("ride height front", "mm", "ride_height_front", MM, decimals=1),
        Column("ride height rear", "mm", "ride_height_rear", MM, decimals=1),
    ]
    style = LogStyle(separator=";", decimal=",", encoding="cp1252", newline="\r\n")
    files, car, seed = _one_log_a_run(simulated, columns, style), simulated.truth.car, season()[1].seed
    rear = [column for column in columns if column.role in ("damper_rl", "damper_rr", "ride_height_rear")]
    files.logs[SPIN_LOG] = spin_down_log(car, style, seed)
    files.logs[LOADING_LOG] = loading_log(car, style, rear, seed)
    return files


def _gusty_afternoon(simulated: SimulatedDay) -> _Files:
    logger = [
        Column("wheel_speed_fl", "km/h", WHEELS[0], KMH),
        Column("wheel_speed_fr", "km/h", WHEELS[1], KMH),
        Column("throttle", "%", "throttle", PER_CENT, decimals=0),
        Column("brake_pressure", "bar", "brake_pressure", BAR, decimals=1),
        *(Column(f"damper_{corner}", "mm", f"damper_{corner}", MM) for corner in CORNERS),
        Column("ride_height_front", "mm", "ride_height_front", MM, decimals=1),
        Column("ride_height_rear", "mm", "ride_height_rear", MM, decimals=1),
    ]
    box = [
        Column("latitude", "deg", "latitude", DEGREES, decimals=7),
        Column("longitude", "deg", "longitude", DEGREES, decimals=7),
        Column("speed", "m/s", "gps_speed", decimals=3),
        Column("heading", "deg", "heading", DEGREES, decimals=1),
    ]
    preamble = ("# made-up car, made-up logger", "# every channel at its own rate; blank: no sample")
    logger_style = LogStyle("\t", encoding="utf-8-sig", preamble=preamble, units="row", time="clock", time_decimals=3)
    box_style = LogStyle(time="iso", time_decimals=2)
    logs, runs = {}, []
    for run in simulated.day.runs:
        car, satellite = f"logs/run{run.number:02d} car.txt", f"logs/run{run.number:02d} satellite.csv"
        logs[car] = log_bytes([_piece(run)], logger, logger_style)
        logs[satellite] = log_bytes([_late_piece(run)], box, box_style, simulated.day.date)
        named = f'logs = [{{ file = "{car}" }}, {{ file = "{satellite}", clock_offset_s = {BOX_LATE_S} }}]'
        runs.append(_run_table(run, named))
    return _Files(logs, "\n".join(runs))


def _satellite_only(simulated: SimulatedDay) -> _Files:
    columns = [
        Column("latitude", "", "latitude", DEGREES, decimals=7),
        Column("longitude", "", "longitude", DEGREES, decimals=7),
        Column("speed (km/h)", "", "gps_speed", KMH, decimals=2),
    ]
    style = LogStyle(units="none", time="iso", time_decimals=1)
    name, first = "logs/evening.csv", simulated.day.runs[0].start_clock_s or 0.0
    pieces = [_piece(run) for run in simulated.day.runs]
    runs = []
    for run in simulated.day.runs:
        start = (run.start_clock_s or 0.0) - first
        end = start + _duration(run)
        cut = f'log = "{name}"\nfrom_s = {start:.0f}\nto_s = {end + 1.0:.0f}'
        runs.append(_run_table(run, cut))
    return _Files({name: log_bytes(pieces, columns, style, simulated.day.date)}, "\n".join(runs))


def _one_log_a_run(simulated: SimulatedDay, columns: list[Column], style: LogStyle) -> _Files:
    names = {run.number: f"logs/run{run.number:02d}.csv" for run in simulated.day.runs}
    logs = {names[run.number]: log_bytes([_piece(run)], columns, style) for run in simulated.day.runs}
    runs = [_run_table(run, f'log = "{names[run.number]}"') for run in simulated.day.runs]
    return _Files(logs, "\n".join(runs))


def _piece(run: Run) -> Piece:
    return Piece(run.recordings[0].signals, run.start_clock_s or 0.0)


def _late_piece(run: Run) -> Piece:
    """The satellite box: switched on after the car's logger, its clock fast."""
    signals = {
        role: Signal(signal.time_s[on], signal.values[on])
        for role, signal in run.recordings[0].signals.items()
        if len(on := np.flatnonzero(signal.time_s > BOX_LATE_S - 1e-9))
    }
    return Piece(signals, (run.start_clock_s or 0.0) + BOX_FAST_S)


def _duration(run: Run) -> float:
    return max(float(signal.time_s[-1]) for signal in run.recordings[0].signals.values())


def _run_table(run: Run, log: str) -> str:
    return f"""[[runs]]
number = {run.number}
setup = "{run.setup}"
{log}
start = {clock_text(run.start_clock_s or 0.0)}
driver_mass_kg = {run.driver_mass_kg.value - 0.2:.1f}
coasting = "{run.coasting}"
"""


FILES: dict[str, Callable[[SimulatedDay], _Files]] = {
    "2026-04-11 shakedown": _shakedown,
    "2026-05-09 calm morning": _calm_morning,
    "2026-06-20 gusty afternoon": _gusty_afternoon,
    "2026-07-18 satellite only": _satellite_only,
}
TEXTS = {
    "2026-04-11 shakedown": texts.SHAKEDOWN,
    "2026-05-09 calm morning": texts.CALM_MORNING,
    "2026-06-20 gusty afternoon": texts.GUSTY_AFTERNOON,
    "2026-07-18 satellite only": texts.SATELLITE_ONLY,
}


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[2] / "sample_data"
    write_samples(target)
