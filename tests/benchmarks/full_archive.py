"""A full archive for benchmarks: days of several seasons and two cars, fifty runs each, with made-up results.

Folders, revisions, facts and events come about as always; the result of every day is one made-up result, whose
summary alone is each day's own. Cars, venues and numbers are invented.
"""

from __future__ import annotations

import copy
import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.database import now_utc
from server.archive.events import PROGRAM, canonical, head, record, seal
from server.archive.tables import Event
from server.days.facts import briefs_of, newest_revisions
from server.days.service import IncomingDay, keep_day, newest_revision
from server.results.service import write_result
from server.results.summary import summarise
from server.results.tables import FittedResult
from tests.web.made_up import made_up_day_result

DAYS, RUNS, EVENTS = 100, 50, 20_000
PEOPLE = ("Ana", "Bo", "Cleo", "Dan", PROGRAM)
CARS = ("Wisp 5", "Wisp 6")
VENUES = ("Long apron", "Lower straight", "Old airfield")
SETUPS = "ABCD"
@dataclass(frozen=True)
class Calendar:
    """When days are: the first, and how far apart."""

    first: dt.date
    apart_days: int

    def date(self, number: int) -> dt.date:
        """Of a day by its number from 0."""
        return self.first + dt.timedelta(days=self.apart_days * number)


THREE_YEARS, TEN_SEASONS = Calendar(dt.date(2023, 3, 4), 11), Calendar(dt.date(2016, 3, 4), 36)


def day_text(number: int, runs: int = RUNS, when: Calendar = THREE_YEARS) -> str:
    """The testday.toml of a day: every second season another car, every fifth day another rear flap."""
    flap = 34 if number % 5 == 4 else 30
    lines = [
        "format = 1", f'name = "Day {number}, made up"', f"date = {when.date(number)}",
        f'venue.name = "{VENUES[number % 3]}"', f'car.name = "{CARS[number % 2]}"',
        f"car.mass_kg = {236.0 + number % 4}", 'notes = "Cones every 100 m; wind from the sea in the afternoon."',
        "weather = [{ pressure_hpa = 1009.0, temperature_c = 17.0 }]", "[channels]", 'time = "t"', 'gps_speed = "v"',
    ]  # fmt: skip
    for name in SETUPS:
        lines += ["[[setups]]", f'name = "{name}"', "front_ride_height_mm = 34", "rear_ride_height_mm = 38"]
        lines += [f"parts = {{ rear_flap_deg = {flap}, front_flaps_deg = {20 + ord(name) - 65} }}"]
        lines += [] if name == "A" else ['baseline = "A"']
    for run in range(1, runs + 1):
        lines += ["[[runs]]", f"number = {run}", f'setup = "{SETUPS[run % 4]}"', f'log = "logs/run{run:02d}.csv"']
        lines += ["driver_mass_kg = 72.0", f'notes = "Outing {run}: a gust at the far end, tape checked."']
    return "\n".join(lines) + "\n"


def fill(
    archive: Archive, scratch: Path, days: int = DAYS, runs: int = RUNS, when: Calendar = THREE_YEARS
) -> None:
    """Put so many days into an archive, each with a result."""
    scratch.mkdir(parents=True, exist_ok=True)
    result = made_up_day_result(SETUPS)
    write_result(result, scratch / "result.zip")
    summary, rng = summarise(result), np.random.default_rng(5)
    for number in range(days):
        folder = scratch / f"day {number}"
        folder.mkdir()
        (folder / "testday.toml").write_text(day_text(number, runs, when), "utf-8")
        with archive.database.writing() as session:
            incoming = IncomingDay(f"Day {number}, made up", when.date(number), folder, "a folder")
            day = keep_day(archive, session, incoming)
            _keep_result(archive, session, day.id, scratch / "result.zip", _own(summary, runs, rng))
    with archive.database.reading() as session:
        briefs_of(archive, session, newest_revisions(session).values())


def add_history(archive: Archive, events: int = EVENTS, days: int = DAYS) -> None:
    """What ten seasons of people wrote: runs, setups and cars changed, day by day, each sealed with the one before."""
    with archive.database.writing() as session:
        number, previous = head(session)
        for k in range(number + 1, number + 1 + events):
            run, day_id = 1 + k % RUNS, 1 + k * days // (number + 1 + events)
            kind, subject = (("run-changed", f"run {run}"), ("setup-revised", f"setup {SETUPS[k % 4]}"))[k % 5 == 0]
            event = Event(
                id=k, at=now_utc().isoformat(timespec="microseconds"), who=PEOPLE[k % len(PEOPLE)], kind=kind,
                day_id=day_id, subject=subject, before=canonical({"notes": "gusty"}), reason="read once more",
                after=canonical({"revision": k, "content_sha256": previous, "value": {"notes": f"tape checked {k}"}}),
                previous_sha256=previous,
            )  # fmt: skip
            previous = event.sha256 = seal(event)
            session.add(event)


def predictions_table(cases: int = 40) -> str:
    """Cases of all setups over ride heights, as a program sends them."""
    rng = np.random.default_rng(8)
    lines = ["setup,front_ride_height_mm,rear_ride_height_mm,scx_m2,scz_front_m2,scz_rear_m2"]
    for k in range(cases):
        front, rear = 34.0 + rng.uniform(-6, 6), 38.0 + rng.uniform(-6, 6)
        lines.append(f"{SETUPS[k % 4]},{front:.1f},{rear:.1f},{rng.uniform(1.3, 1.5):.3f},1.4,1.7")
    return "\n".join(lines) + "\n"


def _own(summary: dict[str, Any], runs: int, rng: np.random.Generator) -> dict[str, Any]:
    """The summary with values of a day of its own, and a line for each run."""
    own = copy.deepcopy(summary)
    for setup in own["setups"]:
        for value in setup["estimates"].values():
            shift = rng.normal() * value["u"]
            value |= {name: value[name] + shift for name in ("value", "low95", "high95")}
    line = own["runs"][0]
    own["runs"] = [{**line, "run": run} for run in range(1, runs + 1)]
    return own


def _keep_result(archive: Archive, session: Session, day_id: int, file: Path, summary: dict[str, Any]) -> None:
    raw, revision = archive.raw.add(session, file), newest_revision(session, day_id)
    row = FittedResult(
        day_id=day_id, revision_id=revision.id, sha256=raw.sha256, version="0.1.0", summary=summary, moved=[]
    )
    session.add(row)
    session.flush()
    after = {"result": row.id, "sha256": raw.sha256, "version": row.version, "moved": []}
    record(session, who=PROGRAM, kind="day-fitted", day_id=day_id, subject="revision 1", after=after)
