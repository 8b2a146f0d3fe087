"""The map of a part: where tufts do other than predicted, and what moved between setups; drawing, CSV, table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response

from server.archive.archive import Archive
from server.days.day_addresses_pages import DayId, season_crumb
from server.days.revisions import newest_day
from server.dependencies import TheArchive
from server.figures.table import Table
from server.results.pages import TablePage
from server.templating import is_htmx, render, render_part
from server.tufts.adding_job import LONGEST
from server.tufts.addresses_pages import tufts_crumb
from server.tufts.day_view import day_photos
from server.tufts.map_view import MapOf, map_points

router = APIRouter(default_response_class=HTMLResponse)
Name = Annotated[str, Query(max_length=LONGEST)]


@dataclass(frozen=True, slots=True)
class MapQuery:
    """Which map."""

    part: Name = ""
    setup: Name = ""
    against: Name = ""

    @property
    def of(self) -> MapOf:
        """As plain values."""
        return MapOf(self.part, self.setup, self.against)


Asked = Annotated[MapQuery, Depends()]


@router.get("/days/{day_id}/tufts/map.json", name="tuft_map")
def tuft_map(day_id: DayId, asked: Asked, archive: TheArchive, *, narrow: bool = False) -> Response:
    """The map for the page's plot module."""
    from server.figures.theme import drawing
    from server.figures.tuft_map import tuft_map as drawn

    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        points = map_points(day_photos(session, day, day_id), asked.of)
    return Response(drawing(drawn(points, asked.of.names, narrow)), media_type="application/json")


@router.get("/days/{day_id}/tufts/map.csv", name="tuft_map_csv")
def tuft_map_csv(day_id: DayId, asked: Asked, archive: TheArchive) -> Response:
    """Its numbers as CSV."""
    head = {"Content-Disposition": f'attachment; filename="day-{day_id}-tufts.csv"'}
    return Response(_table(archive, day_id, asked).to_csv(), media_type="text/csv; charset=utf-8", headers=head)


@router.get("/days/{day_id}/tufts/map/table", name="tuft_map_table")
def tuft_map_table(request: Request, day_id: DayId, asked: Asked, archive: TheArchive) -> HTMLResponse:
    """Its numbers as a table, on a page or as a piece of one."""
    table = _table(archive, day_id, asked)
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    of = {"part": asked.part, "setup": asked.setup, "against": asked.against}
    csv = f"{request.app.url_path_for('tuft_map_csv', day_id=str(day_id))}?{urlencode(of)}"
    crumbs = (season_crumb(request), tufts_crumb(request, day_id))
    return render(request, TablePage(title=f"Tufts of {asked.part}", crumbs=crumbs, table=table, csv=csv))


def _table(archive: Archive, day_id: int, asked: MapQuery) -> Table:
    from server.figures.tuft_map import tuft_map_table as told

    with archive.database.reading() as session:
        _, day = newest_day(archive, session, day_id)
        return told(map_points(day_photos(session, day, day_id), asked.of), asked.of.names)
