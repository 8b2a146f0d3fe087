"""Wanted intervals taken from a plan: offered in the day's form, kept with the day under the plan's name."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.change import Change
from server.days.form_fields import Field, FieldError, Typed, one
from server.days.wanted_forms import change_wanted
from server.plans.plan_job import find_plan, plans
from server.testday.values import Day, WantedWidth

PLAN = "plan"
MOST_OFFERED = 20


@dataclass(frozen=True, slots=True)
class PlannedWidths:
    """What a plan wants: its name, its baseline, (setup, U95 of the difference [m²])."""

    name: str
    baseline: str
    wanted: tuple[tuple[str, float], ...]

    def change(self, day: Day) -> Change:
        """The widths of those setups that the day has. Raises FieldError where it has none of them."""
        names = {setup.name for setup in day.setups}
        there = [(setup, width) for setup, width in self.wanted if {setup, self.baseline} <= names]
        if not there:
            told = ", ".join([self.baseline, *(setup for setup, _ in self.wanted)])
            raise FieldError(PLAN, f"“{self.name}” is about {told}; this day has no two of these setups yet.")
        return change_wanted(day, [WantedWidth(width, setup, self.baseline, self.name) for setup, width in there])


def plan_choices(archive: Archive, session: Session) -> Field | None:
    """The plans to take widths from, the newest first; None where there is none."""
    known = plans(archive, session)[:MOST_OFFERED]
    if not known:
        return None
    options = [("", "none: as typed above")]
    options += [(str(kept.number), f"{kept.content['asked']['name']}, {kept.at[:10]}") for kept in known]
    hint = "Its widths take the place of all that stands above."
    return Field(PLAN, "Take them from a plan", "choice", "", hint=hint, options=tuple(options))


def planned(archive: Archive, typed: Typed) -> PlannedWidths | None:
    """What the chosen plan wants; None where none was chosen. Raises NotFoundError."""
    number = one(typed, PLAN)
    if not (number.isascii() and number.isdigit()):
        return None
    with archive.database.reading() as session:
        asked = find_plan(archive, session, int(number)).content["asked"]
    return PlannedWidths(
        asked["name"], asked["baseline"], tuple((w["setup"], w["u95_m2"]) for w in asked["wanted"])
    )
