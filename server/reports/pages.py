"""Reports to save: a day as PDF and as one HTML file."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response
from jinja2 import Environment

from server.days.day_addresses_pages import DayId
from server.dependencies import Results, TheArchive
from server.reports.as_html import as_html
from server.reports.content import Report
from server.reports.pdf import as_pdf
from server.reports.service import report_of_day

router = APIRouter(prefix="/days/{day_id}", include_in_schema=False)
Chosen = Annotated[int | None, Query(alias="result", ge=1, le=2**31)]


@router.get("/report.pdf", name="day_report_pdf")
def pdf(day_id: DayId, archive: TheArchive, results: Results, chosen: Chosen = None) -> Response:
    """The report of a day as PDF."""
    return pdf_answer(report_of_day(archive, results, day_id, chosen))


@router.get("/report.html", name="day_report_html")
def html(request: Request, day_id: DayId, archive: TheArchive, results: Results, chosen: Chosen = None) -> Response:
    """The same as one HTML file."""
    return html_answer(report_of_day(archive, results, day_id, chosen), request.app.state.templates)


def pdf_answer(report: Report) -> Response:
    """A report as PDF, to be saved."""
    return Response(as_pdf(report), media_type="application/pdf", headers=_to_save(report, "pdf"))


def html_answer(report: Report, environment: Environment) -> Response:
    """A report as one HTML file, to be saved."""
    text = as_html(report, environment)
    return Response(text, media_type="text/html; charset=utf-8", headers=_to_save(report, "html"))


def _to_save(report: Report, kind: str) -> dict[str, str]:
    plain = re.sub(r"[^A-Za-z0-9 _-]+", "", report.title).strip() or "day"
    return {"Content-Disposition": f'attachment; filename="{plain[:60]} report.{kind}"'}
