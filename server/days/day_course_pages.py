"""The figure of a test day: how each setup's interval shrank from result to result; its table, its CSV."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from server.days.day_addresses_pages import DayId, Wanted, day_crumb, season_crumb
from server.days.day_view import day_marks
from server.days.revisions import newest_day
from server.days.tables import DayRevision
from server.days.wanted_forms import wanted_area
from server.dependencies import TheArchive
from server.figures.table import Table
from server.figures.theme import drawing
from server.results.next_step import WANTED_U95_M2
from server.results.pages import csv_answer
from server.results.service import results_of, summary_of
from server.results.standing_view import day_course
from server.results.summary import Summary
from server.templating import Page, is_htmx, render, render_part

if TYPE_CHECKING:
    from server.figures.course import Course

router = APIRouter(default_response_class=HTMLResponse)
COURSE_WORDS = (
    "Drag area of each setup after each result of this day, with its 95 % interval, thick at one u; shaded, the wanted "
    "interval about the newest value."
)
TABLE_TITLE = "The day's results, one after the other"


@dataclass(frozen=True, kw_only=True)
class CourseTablePage(Page):
    """The numbers of the day's figure."""

    template: ClassVar[str] = "results/table.html"
    help: ClassVar[str] = "testday"
    table: Table
    csv: str


@router.get("/days/{day_id}/course.json", name="day_course")
def course_json(day_id: DayId, archive: TheArchive, narrow: bool = False, wanted: Wanted = None) -> Response:
    """The day's figure for the plot module."""
    from server.figures.course import course_figure

    return Response(drawing(course_figure(_course(archive, day_id, wanted), narrow)), media_type="application/json")


@router.get("/days/{day_id}/course.csv", name="day_course_csv")
def course_csv(day_id: DayId, archive: TheArchive) -> Response:
    """Its numbers as CSV."""
    return csv_answer(_course_table(archive, day_id), f"day-{day_id}-course")


@router.get("/days/{day_id}/course", name="day_course_table")
def course_rows(request: Request, day_id: DayId, archive: TheArchive) -> HTMLResponse:
    """Its numbers as a table, on a page or as a piece of one."""
    table = _course_table(archive, day_id)
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    with archive.database.reading() as session:
        _, values = newest_day(archive, session, day_id)
    crumbs = (season_crumb(request), day_crumb(request, day_id, values.name))
    csv = str(request.app.url_path_for("day_course_csv", day_id=str(day_id)))
    return render(request, CourseTablePage(title=TABLE_TITLE, crumbs=crumbs, table=table, csv=csv))


def _course_table(archive: TheArchive, day_id: int) -> Table:
    from server.figures.course import course_table

    return course_table(_course(archive, day_id, None))


def _course(archive: TheArchive, day_id: int, wanted: float | None) -> Course:
    with archive.database.reading() as session:
        _, values = newest_day(archive, session, day_id)
        told: list[tuple[Summary, str]] = []
        last = None
        for row in reversed(results_of(session, day_id)):
            what = "fitted anew" if row.revision_id == last else session.get_one(DayRevision, row.revision_id).what
            told.append((summary_of(archive, row), what))
            last = row.revision_id
    return day_course(told, day_marks(values), wanted or wanted_area(values) or WANTED_U95_M2)


def course_places(request: Request, day_id: int, wanted: float | None) -> dict[str, str]:
    """The addresses of the figure, for its frame. wanted: asked for in place of the day's own."""
    there = request.app.url_path_for
    query = "" if wanted is None else f"?wanted={wanted:g}"
    return {
        "json": f"{there('day_course', day_id=str(day_id))}{query}",
        "csv": str(there("day_course_csv", day_id=str(day_id))),
        "table": str(there("day_course_table", day_id=str(day_id))),
        "file": f"day-{day_id}-course",
    }
