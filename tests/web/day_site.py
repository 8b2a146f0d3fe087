"""A small day with a result, served with the job that reads added logs; fits are made up, readings are real."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from server.app import create_app
from server.archive.jobs import JobKind
from server.archive.worker import Payload, Progress
from server.days.adding_job import ADDING_KINDS
from server.days.revisions import newest_day
from server.days.service import FIT_JOB, REFIT_JOB, IncomingDay, keep_day, newest_revision, revision_files
from server.results.fit_job import RESULT_FILE, keep_refitted
from server.results.service import keep_result, write_result
from server.settings import Settings
from server.testday.folder import read_folder
from server.testday.values import Day
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.made_up import estimate, made_up_day_result
from tests.web.serving import client_of

DAY = """format = 1
name = "Long apron"
date = 2026-05-09
car.mass_kg = 236.0
weather = [{ time = 09:00:00, pressure_hpa = 1009.0, temperature_c = 17.0 }]
setups = [{ name = "A" }, { name = "B", baseline = "A" }]
[[runs]]
number = 1
setup = "A"
log = "logs/run01.csv"
start = 09:20:00
driver_mass_kg = 72.0
coasting = "neutral"
[[runs]]
number = 2
setup = "B"
log = "logs/run02.csv"
start = 09:41:00
driver_mass_kg = 72.0
coasting = "neutral"
"""


def log_text(offset: float = 0.0, head: str = "time [s],gps_speed [km/h]") -> str:
    """A made-up log: a minute up to speed, then a coast-down."""
    rows = [f"{i / 10:.1f},{min(i / 6, 90 - (i - 540) / 12) + offset:.2f}" for i in range(1200)]
    return "\n".join([head, *rows]) + "\n"


def quick_fit(payload: Payload, progress: Progress) -> Payload:
    """A made-up result: the more revisions of the day, the narrower."""
    progress(0.5, "fitting")
    result = made_up_day_result("AB")
    u = 0.021 / payload["revision_id"] ** 0.5
    setups = (
        replace(one, estimates={**one.estimates, "SCx": estimate(one.estimates["SCx"].value, u, "m²")})
        for one in result.setups
    )
    write_result(replace(result, setups=tuple(setups)), Path(payload["scratch"]) / RESULT_FILE)
    return {}


DAY_KINDS = {FIT_JOB: KINDS[FIT_JOB], REFIT_JOB: JobKind(quick_fit, keep_refitted), **ADDING_KINDS}


@contextmanager
def day_site(folder: Path) -> Iterator[Site]:
    """The day is number 1."""
    app = create_app(Settings(data_folder=folder / "data"), DAY_KINDS)
    with client_of(app) as client:
        keep(app.state.archive, folder / "day")
        yield Site(app, client, folder / "data")


def keep(archive, folder: Path, text: str = DAY) -> int:  # type: ignore[no-untyped-def]
    (folder / "logs").mkdir(parents=True)
    (folder / "testday.toml").write_text(text)
    for number in (1, 2):
        (folder / f"logs/run0{number}.csv").write_text(log_text(number))
    write_result(made_up_day_result("AB"), folder.parent / "result.zip")
    with archive.database.writing() as session:
        read = read_folder(folder)
        day = keep_day(archive, session, IncomingDay(read.name, read.date, folder, "day.zip"))
        keep_result(archive, session, newest_revision(session, day.id), folder.parent / "result.zip")
        return day.id


def newest(site: Site) -> tuple[int, Day, dict[str, str]]:
    """Number, values and files of the day as it stands."""
    archive = site.app.state.archive
    with archive.database.reading() as session:
        revision, day = newest_day(archive, session, 1)
        return revision.number, day, revision_files(session, revision.id)
