"""Reports to save: a season and a correlation, each as PDF and as one HTML file."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import Response

from server.correlation.choosing import Choice
from server.dependencies import Results, TheArchive
from server.reports.content import Report
from server.reports.pages import html_answer, pdf_answer
from server.reports.season_service import report_of_correlation, report_of_season

router = APIRouter(include_in_schema=False)


def _season(
    archive: TheArchive,
    results: Results,
    year: Annotated[str, Query(max_length=10)] = "",
    car: Annotated[str | None, Query(max_length=200)] = None,
) -> Report:
    return report_of_season(archive, results, year, car)


def _correlation(archive: TheArchive, results: Results, choice: Annotated[Choice, Depends()]) -> Report:
    return report_of_correlation(archive, results, choice.asked)


OfSeason = Annotated[Report, Depends(_season)]
OfCorrelation = Annotated[Report, Depends(_correlation)]


@router.get("/season/report.pdf", name="season_report_pdf")
def season_pdf(report: OfSeason) -> Response:
    """The report of a season as PDF."""
    return pdf_answer(report)


@router.get("/season/report.html", name="season_report_html")
def season_html(request: Request, report: OfSeason) -> Response:
    """The same as one HTML file."""
    return html_answer(report, request.app.state.templates)


@router.get("/correlation/report.pdf", name="correlation_report_pdf")
def correlation_pdf(report: OfCorrelation) -> Response:
    """The report of a correlation as PDF."""
    return pdf_answer(report)


@router.get("/correlation/report.html", name="correlation_report_html")
def correlation_html(request: Request, report: OfCorrelation) -> Response:
    """The same as one HTML file."""
    return html_answer(report, request.app.state.templates)
