"""What the page of a test day shows of the day itself: its runs as rows, how old the air is, the days beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from server.days.run_forms import start_text
from server.days.tables import StoredDay
from server.days.weather_forms import reading_text, time_text
from server.figures.theme import SetupMark, setup_marks
from server.testday.quantities import clock_from_s
from server.testday.rounding import with_uncertainty
from server.testday.values import Day, Run, WeatherReading

NORMAL_95 = 1.959964
GRADES = ("stop", "check", "note")
OLD_AIR_S = 1800.0  # half an hour: 2 °C are 0.7 % of the density; common practice, no source
AHEAD_S = 300.0
OLD_WIND_S = 900.0  # the model's slow wind forgets itself in 15 minutes (day_priors.wind_prior)
ALL_DAY = "One reading of the air holds all day; another shows how it moves."
WAYS = {(1,): "out", (-1,): "back", (-1, 1): "both ways"}


@dataclass(frozen=True, slots=True)
class RunRow:
    """A run in the table. passes: used of found, empty while no fit has seen it; grades: (grade, how many)."""

    number: int
    setup: str
    mark: SetupMark
    start: str
    driver: str
    direction: str
    coasting: str
    notes: str
    passes: str
    grades: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class AirView:
    """How old the newest reading of the air is. old: it should be read again; now: how it stands."""

    sentence: str
    now: str
    old: bool


@dataclass(frozen=True, slots=True)
class Neighbour:
    """The day before or after."""

    id: int
    name: str


def day_marks(day: Day) -> dict[str, SetupMark]:
    """Letter and hue of each setup: those that were driven first, as a result shows them, then the others."""
    driven = {run.setup for run in day.runs}
    names = [setup.name for setup in day.setups]
    return setup_marks(sorted(names, key=lambda name: (name not in driven, names.index(name))))


def run_rows(day: Day, kept: Sequence[dict[str, Any]]) -> tuple[RunRow, ...]:
    """A row a run, in the order of their numbers. kept: what a result's summary says of each."""
    marks, told = day_marks(day), {one["run"]: one for one in kept}
    return tuple(_row(run, marks[run.setup], told.get(run.number)) for run in sorted(day.runs, key=lambda r: r.number))


def _row(run: Run, mark: SetupMark, kept: dict[str, Any] | None) -> RunRow:
    mass = run.driver_mass_kg
    ways = WAYS.get(tuple(sorted(set(kept["directions"]) & {1, -1})), "") if kept else ""
    return RunRow(
        number=run.number,
        setup=run.setup,
        mark=mark,
        start=start_text(run),
        driver="a default" if mass.source == "default" else with_uncertainty(mass.value, NORMAL_95 * mass.u, "kg"),
        direction=ways or run.direction or "",
        coasting="not said" if run.coasting == "unknown" else run.coasting,
        notes=run.notes,
        passes=f"{kept['used']} of {kept['found']}" if kept else "",
        grades=tuple((grade, n) for grade in GRADES if kept and (n := kept["findings"].get(grade, 0))),
    )


def air_view(day: Day, now_s: float | None = None) -> AirView:
    """The age of the newest reading: against the clock on the day itself (now_s), else against the last run's start."""
    started = [run for run in day.runs if run.start_clock_s is not None]
    last = max(started, key=lambda run: run.start_clock_s or 0.0, default=None)
    timed = [reading for reading in day.weather if reading.clock_s is not None]
    if not timed:
        only = day.weather[-1]
        return AirView(ALL_DAY, reading_text(only), old=True)
    newest = max(timed, key=lambda reading: reading.clock_s or 0.0)
    if now_s is not None:
        return _age_now(newest, now_s - (newest.clock_s or 0.0))
    if last is None:
        text = f"Air last read at {time_text(newest)}; no run has a start time to compare it with."
        return AirView(text, reading_text(newest), old=False)
    before = (last.start_clock_s or 0.0) - (newest.clock_s or 0.0)
    old = before > OLD_AIR_S
    return AirView(_age(newest, last, before) + (" Read it again." if old else ""), reading_text(newest), old)


def _age_now(newest: WeatherReading, age_s: float) -> AirView:
    """How old the air is now, and whether that is too old for density, or for wind."""
    if age_s < -AHEAD_S:
        return AirView(f"Air read at {time_text(newest)}, ahead of the clock here: look at both.",
                       reading_text(newest), old=True)  # fmt: skip
    minutes = max(0, round(age_s / 60.0))
    text = f"Air read at {time_text(newest)}, {minutes} minute{'' if minutes == 1 else 's'} ago."
    if age_s > OLD_AIR_S:
        text += " That is too old: in half an hour 2 °C are 0.7 % of the density. Read it again."
    elif age_s > OLD_WIND_S and newest.wind_speed_mps is not None:
        text += " The density still holds; the wind is another after a quarter of an hour."
    return AirView(text, reading_text(newest), old=age_s > OLD_AIR_S)


def _age(newest: WeatherReading, last: Run, before_s: float) -> str:
    minutes = round(abs(before_s) / 60.0)
    where = f"the last run (run {last.number}, {clock_from_s(last.start_clock_s or 0.0)[:5]})"
    if minutes == 0:
        return f"Air read at {time_text(newest)}, with {where}."
    way = "before" if before_s > 0 else "after the start of"
    return f"Air read at {time_text(newest)}, {minutes} minute{'' if minutes == 1 else 's'} {way} {where}."


def neighbours(days: Sequence[StoredDay], day_id: int) -> tuple[Neighbour | None, Neighbour | None]:
    """The days before and after, by date. days: the latest first."""
    place = next(n for n, day in enumerate(days) if day.id == day_id)
    before = days[place + 1] if place + 1 < len(days) else None
    after = days[place - 1] if place else None
    found = [Neighbour(day.id, day.name) if day else None for day in (before, after)]
    return found[0], found[1]
