"""Reports to save: a day as PDF and as one HTML file."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from jinja2 import Environment

from server.days.day_addresses_pages import DayId
from server.dependencies import Results, TheArchive
from server.locations import web_folder
from server.reports.content import Drawn, Report, Rows, Signature, Words
from server.reports.drawing import svg
from server.reports.pdf import as_pdf
from server.reports.service import report_of_day

router = APIRouter(prefix="/days/{day_id}", include_in_schema=False)
KINDS = {Words: "words", Rows: "rows", Drawn: "drawn", Signature: "signature"}
Chosen = Annotated[int | None, Query(alias="result", ge=1, le=2**31)]


@router.get("/report.pdf", name="day_report_pdf")
def pdf(day_id: DayId, archive: TheArchive, results: Results, chosen: Chosen = None) -> Response:
    """The report of a day as PDF."""
    report = report_of_day(archive, results, day_id, chosen)
    return Response(as_pdf(report), media_type="application/pdf", headers=_to_save(report, "pdf"))


@router.get("/report.html", name="day_report_html")
def html(request: Request, day_id: DayId, archive: TheArchive, results: Results, chosen: Chosen = None) -> Response:
    """The same as one HTML file."""
    report = report_of_day(archive, results, day_id, chosen)
    text = as_html(report, request.app.state.templates)
    return Response(text, media_type="text/html; charset=utf-8", headers=_to_save(report, "html"))


def as_html(report: Report, environment: Environment) -> str:
    """A report as one HTML file: style and figures stand in it, no script, nothing to fetch."""
    style = (web_folder() / "styles" / "report.css").read_text("utf-8")
    kind, inside = (lambda block: KINDS[type(block)]), f"<style>{style}</style>"
    return environment.get_template("reports/report.html").render(report=report, kind=kind, svg=svg, style=inside)


def _to_save(report: Report, kind: str) -> dict[str, str]:
    plain = re.sub(r"[^A-Za-z0-9 _-]+", "", report.title).strip() or "day"
    return {"Content-Disposition": f'attachment; filename="{plain[:60]} report.{kind}"'}
