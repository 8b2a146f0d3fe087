"""A report as one HTML file: style and figures stand in it, no script, nothing to fetch."""

from __future__ import annotations

from typing import Any

from server.locations import web_folder
from server.reports.content import Drawn, Report, Rows, Signature, Words
from server.reports.drawing import svg

KINDS = {Words: "words", Rows: "rows", Drawn: "drawn", Signature: "signature"}


def as_html(report: Report, environment: Any) -> str:
    """The file's text. environment: of the templates."""
    style = (web_folder() / "styles" / "report.css").read_text("utf-8")
    kind, inside = (lambda block: KINDS[type(block)]), f"<style>{style}</style>"
    return environment.get_template("reports/report.html").render(report=report, kind=kind, svg=svg, style=inside)
