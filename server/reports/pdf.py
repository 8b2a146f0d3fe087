"""A report as PDF by ReportLab, with its fonts inside; the same report gives the same bytes."""

from __future__ import annotations

import io
from functools import cache
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.reports.content import Block, Drawn, Report, Rows, Section, Signature, Words
from server.reports.drawing import png

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

PLAIN, BOLD = "Sans", "Sans-Bold"
FILES = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
MARGIN_PT, INK = 54.0, "#111111"
TALLEST_PT = 640.0


def as_pdf(report: Report) -> bytes:
    """The file's bytes."""
    from reportlab.lib.pagesizes import A4
    from reportlab.platypus import SimpleDocTemplate, Spacer

    _fonts()
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out, pagesize=A4, leftMargin=MARGIN_PT, rightMargin=MARGIN_PT, topMargin=MARGIN_PT, bottomMargin=MARGIN_PT,
        title=f"{report.title}, {report.under}", author="", subject=report.made_of, creator="Stillair", invariant=1,
        pageCompression=1, lang="en",
    )  # fmt: skip
    flow: list[Any] = [_paragraph(report.title, 20, bold=True), _paragraph(report.under, 10), Spacer(1, 8)]
    for section in report.sections:
        flow += _under(_paragraph(section.title, 13, bold=True, before=14, keep=True), section, document.width)

    def foot(canvas: Any, page: Any) -> None:
        canvas.saveState()
        canvas.setFont(PLAIN, 7)
        canvas.drawString(MARGIN_PT, 30, report.made_of[:120])
        canvas.drawRightString(A4[0] - MARGIN_PT, 30, f"page {page.page}")
        canvas.restoreState()

    document.build(flow, onFirstPage=foot, onLaterPages=foot)
    return out.getvalue()


@cache
def _fonts() -> None:
    import matplotlib as mpl
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    folder = Path(mpl.get_data_path()) / "fonts" / "ttf"
    for name, file in FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(folder / file)))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


def _under(heading: Flowable, section: Section, width: float) -> list[Any]:
    """A section's blocks beneath its heading, which never stands alone at the foot of a page."""
    from reportlab.platypus import KeepTogether

    blocks = [one for block in section.blocks for one in _flowables(block, width)]
    if blocks and isinstance(blocks[0], list):
        blocks[0] = [heading, *blocks[0]]
    else:
        blocks.insert(0, heading)
    return [KeepTogether(one) if isinstance(one, list) else one for one in blocks]


def _flowables(block: Block, width: float) -> list[Any]:
    """What a block becomes; a list within stands on one page."""
    if isinstance(block, Words):
        return [_paragraph(line, 11 if block.strong else 9, bold=block.strong, before=3) for line in block.lines]
    if isinstance(block, Rows):
        return [_table(block, width)]
    if isinstance(block, Drawn):
        return [_drawn(block, width)]
    return [_to_sign(block, width)]


def _paragraph(text: str, size: float, *, bold: bool = False, before: float = 0.0, keep: bool = False) -> Flowable:
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph

    style = ParagraphStyle(
        "words", fontName=BOLD if bold else PLAIN, fontSize=size, leading=size * 1.35, textColor=INK,
        spaceBefore=before, spaceAfter=3, keepWithNext=1 if keep else 0, splitLongWords=1, wordWrap="LTR",
    )  # fmt: skip
    return Paragraph(escape(text), style)


def _table(block: Rows, width: float) -> Flowable:
    from reportlab.platypus import Table, TableStyle

    size = 8.0 if len(block.columns) < 6 else 7.0
    head = [_paragraph(column, size, bold=True) for column in block.columns]
    body = [[_paragraph(cell, size) for cell in row] for row in block.rows]
    made = Table([head, *body], colWidths=[share * width for share in block.shares], repeatRows=1, splitInRow=1)
    made.setStyle(TableStyle([
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 1.2, INK),
        ("LINEBELOW", (0, 1), (-1, -1), 0.4, "#999999"),
        ("LEFTPADDING", (0, 0), (-1, -1), 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ]))  # fmt: skip
    made.spaceBefore = made.spaceAfter = 6
    return made


def _drawn(block: Drawn, width: float) -> list[Flowable]:
    from reportlab.platypus import Image

    picture = Image(io.BytesIO(png(block.figure, most_in=block.most_in)))
    scale = min(width / picture.imageWidth, TALLEST_PT / picture.imageHeight, 72.0 / 200.0)
    picture.drawWidth, picture.drawHeight = picture.imageWidth * scale, picture.imageHeight * scale
    picture.hAlign = "LEFT"
    return [picture, _paragraph(block.words, 8)]


def _to_sign(block: Signature, width: float) -> list[Flowable]:
    from reportlab.platypus import Table, TableStyle

    rows = [["Aero lead", "", "Date", ""], ["Faculty advisor", "", "Date", ""]]
    made = Table(rows, colWidths=[width * share for share in (0.2, 0.42, 0.1, 0.28)], rowHeights=[34, 34])
    made.setStyle(TableStyle([
        ("FONT", (0, 0), (-1, -1), PLAIN, 9),
        ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
        ("LINEBELOW", (1, 0), (1, -1), 0.8, INK),
        ("LINEBELOW", (3, 0), (3, -1), 0.8, INK),
    ]))  # fmt: skip
    return [_paragraph(block.signed, 9), made]
