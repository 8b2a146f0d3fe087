"""`stillair report`: what is taken home of a day, a season or a correlation, as PDF or as one HTML file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from server.commands.options import DataFolder

if TYPE_CHECKING:
    from server.archive.archive import Archive
    from server.reports.content import Report

What = Annotated[str, typer.Argument(metavar="WHAT", help="day, season or correlation.")]
Target = Annotated[Path, typer.Argument(metavar="FILE", help="The file to write; its end says how: .pdf or .html.")]
Day = Annotated[str, typer.Option("--day", metavar="DAY", help="The day's number, or its name.")]
Year = Annotated[int | None, typer.Option("--year", metavar="YEAR", help="The season's year (all years).")]
Car = Annotated[str, typer.Option("--car", metavar="NAME", help="One car alone.")]
KINDS = ("day", "season", "correlation")


def report(  # noqa: PLR0917 - the command line names its options
    what: What, file: Target, day: Day = "", year: Year = None, car: Car = "", data: DataFolder = None
) -> None:
    """Write a report: sentence, figures, tables, budget, cautions, where it comes from, lines to sign on.

    \b
    stillair report day "calm morning.pdf" --day 3
    stillair report season season.pdf --year 2026
    stillair report correlation correlation.html --car "A-04"

    Also while a server runs. The same results give the same bytes; an HTML file holds all that it needs.
    """
    import logging
    from tempfile import TemporaryDirectory

    from server.archive.read_only import ReadOnlyArchive
    from server.errors import StillairError
    from server.packing.looked_at import LookedAt
    from server.settings import load

    if what not in KINDS:
        raise StillairError(f"There is a report of a day, a season or a correlation, none of {what!r}.")
    if file.suffix.lower() not in (".pdf", ".html"):
        raise StillairError(f"{file.name} must end in .pdf or .html; the end says which of them is written.")
    logging.getLogger("server.days.facts").setLevel(logging.ERROR)  # what lists keep of a day can't be kept here
    looked_at = ReadOnlyArchive(load(data_folder=data).data_folder)
    try:
        with TemporaryDirectory(prefix="stillair-") as scratch:
            made = _made(cast("Archive", LookedAt(looked_at, Path(scratch))), what, day, year=year, car=car)
            content = _written(made, file)
    finally:
        looked_at.close()
    file.write_bytes(content)
    typer.echo(f"{file}: {made.title}, {made.under}.")


def _made(archive: Archive, what: str, day: str, *, year: int | None, car: str) -> Report:
    from server.correlation.service import Asked
    from server.errors import StillairError
    from server.reports.season_service import report_of_correlation, report_of_season
    from server.reports.service import report_of_day
    from server.results.service import ResultShelf

    shelf = ResultShelf(archive)
    if what == "season":
        return report_of_season(archive, shelf, str(year) if year is not None else "all", car or None)
    if what == "correlation":
        return report_of_correlation(archive, shelf, Asked(car))
    if not day:
        raise StillairError("Name the day: --day 3, or its name.")
    from server.commands.export_day import day_number

    with archive.database.reading() as session:
        number = day_number(session, day)
    return report_of_day(archive, shelf, number, None)


def _written(made: Report, file: Path) -> bytes:
    if file.suffix.lower() == ".pdf":
        from server.reports.pdf import as_pdf

        return as_pdf(made)
    from server.reports.as_html import as_html
    from server.templating import make_environment

    return as_html(made, make_environment()).encode()
