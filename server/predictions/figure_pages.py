"""The figure of a set of predictions, its numbers, its numbers as a table."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from server.archive.archive import Archive
from server.dependencies import TheArchive
from server.errors import NotFoundError
from server.figures.table import Table
from server.figures.theme import SetupMark, drawing
from server.predictions.cars import setups_of_car
from server.predictions.content import read_content
from server.predictions.pages import Number
from server.predictions.service import find_set
from server.predictions.view import case_points, marks_of
from server.results.pages import TablePage
from server.templating import Crumb, is_htmx, render, render_part

router = APIRouter(prefix="/predictions", default_response_class=HTMLResponse)


@router.get("/{number}/figure.json", name="prediction_figure")
def figure(number: Number, archive: TheArchive, narrow: bool = False) -> Response:
    """The figure for the page's plot module."""
    from server.figures.predicted_set import predicted_set

    points, marks, _ = _drawn(archive, number)
    return Response(drawing(predicted_set(points, marks, narrow)), media_type="application/json")


@router.get("/{number}/figure.csv", name="prediction_figure_csv")
def figure_csv(number: Number, archive: TheArchive) -> Response:
    """Its numbers as CSV."""
    headers = {"Content-Disposition": f'attachment; filename="predictions-{number}.csv"'}
    return Response(_table(archive, number).to_csv(), media_type="text/csv; charset=utf-8", headers=headers)


@router.get("/{number}/figure/table", name="prediction_figure_table")
def figure_table(request: Request, number: Number, archive: TheArchive) -> HTMLResponse:
    """Its numbers as a table, on a page or as a piece of one."""
    table = _table(archive, number)
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    there = request.app.url_path_for
    name = _drawn(archive, number)[2]
    crumbs = (
        Crumb("Season", str(there("days"))),
        Crumb("Predictions", str(there("predictions"))),
        Crumb(name, str(there("prediction_set", number=str(number)))),
    )
    csv = str(there("prediction_figure_csv", number=str(number)))
    return render(request, TablePage(title="Predicted cases", crumbs=crumbs, table=table, csv=csv))


def _table(archive: Archive, number: int) -> Table:
    from server.figures.predicted_set import predicted_set_table

    return predicted_set_table(_drawn(archive, number)[0])


def _drawn(archive: Archive, number: int):  # type: ignore[no-untyped-def]  # the figure's types load the plot library
    """The points, the setups' marks and the set's name. Raises NotFoundError where nothing can be drawn."""
    with archive.database.reading() as session:
        one = find_set(session, number)
        setups = setups_of_car(archive, session, one.car)
    points = case_points(read_content(archive.raw, one.content_sha256))
    if not points:
        raise NotFoundError(f"Set {number} has no case of the whole car that could be drawn.")
    marks: dict[str, SetupMark] = marks_of(setups, [point.setup for point in points])
    return points, marks, one.name
