"""An archive with days that measured and sets that predicted, all of it made up."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from fastapi import FastAPI

from server.analysis.result import DayResult
from server.app import create_app
from server.archive.archive import Archive
from server.days.service import IncomingDay, keep_day, newest_revision
from server.predictions.day_sets import keep_set_of_day
from server.results.service import keep_result, write_result
from server.settings import Settings
from server.testday.values import PredictionCase
from tests.analysis.correlated_days import case, measured_day, nine_cases
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of

CAR = "Wisp 5"
AREAS = {"A": (1.42, 1.55, 1.75), "B": (1.53, 1.45, 2.15), "C": (1.35, 1.30, 1.60), "D": (1.47, 1.62, 1.92)}
TOML = """format = 1
name = "{name}"
date = {date}
car.name = "{car}"
car.mass_kg = 236.0
weather = [{{ pressure_hpa = 1009.0, temperature_c = 17.0 }}]
runs = [{{ number = 1, setup = "A", log = "logs/run01.csv", driver_mass_kg = 72.0 }}]
"""
HEAD = (
    "setup,front_ride_height_mm,rear_ride_height_mm,scx_m2,scz_front_m2,scz_rear_m2,"
    "scx_u_m2,scz_front_u_m2,scz_rear_u_m2,part,source"
)


def predictions_csv(cases: Sequence[PredictionCase]) -> str:
    """The table of a day folder."""
    lines = [HEAD]
    for one in cases:
        areas = (one.scx_m2, one.scz_front_m2, one.scz_rear_m2)
        assert None not in areas
        heights = [f"{1e3 * (one.front_ride_height_m or 0):g}", f"{1e3 * (one.rear_ride_height_m or 0):g}"]
        numbers = [f"{area.value:.5f}" for area in areas if area] + [f"{area.u:.5f}" for area in areas if area]
        lines.append(",".join([one.setup, *heights, *numbers, one.part, one.source]))
    return "\n".join(lines) + "\n"


def usual_cases() -> list[PredictionCase]:
    """C's drag 12 % low, all else as measured; a rear wing of its own in A and B."""
    off = {"C": (0.88 * 1.35, 1.30, 1.60)}
    cases = [one for name, areas in AREAS.items() for one in nine_cases(name, off.get(name, areas))]
    return [*cases, case("A", 26.0, 30.0, (0.45, -0.1, 1.2), part="rear wing")]


def keep_measured(
    archive: Archive, result: DayResult, scratch: Path, cases: Sequence[PredictionCase] = (), *,
    name: str = "Long apron", date: str = "2026-05-09", parts: Mapping[str, str] | None = None,
) -> int:  # fmt: skip
    """Keep a day with its result, and its predictions as a set of the car; gives the day's number."""
    folder = scratch / name
    folder.mkdir(parents=True)
    setups = "".join(_setup(one.name, (parts or {}).get(one.name, "")) for one in result.setups)
    (folder / "testday.toml").write_text(TOML.format(name=name, date=date, car=CAR) + setups)
    if cases:
        (folder / "predictions.csv").write_text(predictions_csv(cases))
    write_result(result, scratch / "result.zip")
    with archive.database.writing() as session:
        day = keep_day(archive, session, IncomingDay(name, dt.date.fromisoformat(date), folder, "folder.zip"))
        keep_result(archive, session, newest_revision(session, day.id), scratch / "result.zip")
        keep_set_of_day(archive, session, day.id)
        return day.id


def _setup(name: str, parts: str) -> str:
    baseline = "" if name == "A" else 'baseline = "A"\n'
    heights = "front_ride_height_mm = 34.0\nrear_ride_height_mm = 38.0\n"
    return f'[[setups]]\nname = "{name}"\n{heights}{baseline}parts = {{ {parts} }}\n'


def measured_app(folder: Path) -> FastAPI:
    """The pages over an archive that already holds the day."""
    archive = Archive(folder / "data")
    archive.open()
    keep_measured(archive, measured_day(AREAS, rel_u=0.012)[1], folder / "days", usual_cases())
    archive.close()
    return create_app(Settings(data_folder=folder / "data"), KINDS)


@contextmanager
def measured_site(folder: Path) -> Iterator[Site]:
    """One day of four setups, measured within 1.5 %, with its predictions."""
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        keep_measured(app.state.archive, measured_day(AREAS, rel_u=0.012)[1], folder / "days", usual_cases())
        yield Site(app, client, folder / "data")
