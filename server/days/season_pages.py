"""The first page: the days of all seasons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from server.archive.jobs import open_jobs
from server.days.job_view import JobView, job_view
from server.days.service import list_days
from server.dependencies import TheArchive
from server.figures.theme import SetupMark, setup_marks
from server.locations import sample_day_folders
from server.results.service import latest_results
from server.results.summary import Summary
from server.templating import Page, render
from server.testday.rounding import with_uncertainty

router = APIRouter(default_response_class=HTMLResponse)


@dataclass(frozen=True, slots=True)
class SetupLine:
    """One setup of a day in the list."""

    name: str
    mark: SetupMark
    value: str
    passes: int


@dataclass(frozen=True, slots=True)
class DayLine:
    """One day in the list."""

    id: int
    name: str
    date: str
    setups: tuple[SetupLine, ...]

    @property
    def has_area(self) -> bool:
        """Whether any setup got an area."""
        return any(line.value for line in self.setups)


@dataclass(frozen=True, kw_only=True)
class DaysPage(Page):
    """All days, the latest first."""

    template: ClassVar[str] = "days/list.html"
    help: ClassVar[str] = "days"
    days: tuple[DayLine, ...]
    jobs: tuple[JobView, ...]
    has_samples: bool


@router.get("/", name="days")
def days(request: Request, archive: TheArchive) -> HTMLResponse:
    """The list of days."""
    with archive.database.reading() as session:
        results = latest_results(session)
        lines = tuple(
            DayLine(
                day.id,
                day.name,
                day.date.isoformat() if day.date else "no date",
                _setup_lines(results[day.id].summary),
            )
            for day in list_days(session)
            if day.id in results
        )
        jobs = tuple(job_view(job) for job in open_jobs(session))
    return render(request, DaysPage(title="Days", days=lines, jobs=jobs, has_samples=bool(sample_day_folders())))


def _setup_lines(summary: Summary) -> tuple[SetupLine, ...]:
    setups = summary["setups"]
    marks = setup_marks([one["setup"] for one in setups])
    return tuple(
        SetupLine(one["setup"], marks[one["setup"]], _value(one["estimates"].get("SCx")), one["passes"])
        for one in setups
    )


def _value(scx: dict[str, Any] | None) -> str:
    return with_uncertainty(scx["value"], 0.5 * (scx["high95"] - scx["low95"]), scx["unit"]) if scx else ""
