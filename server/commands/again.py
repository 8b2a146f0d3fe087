"""`stillair again`: results fitted again from what was kept with them; are the numbers the same?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from server.commands.options import DataFolder

if TYPE_CHECKING:
    from collections.abc import Sequence

Year = Annotated[int | None, typer.Option("--year", metavar="YEAR", help="Days of this year alone.")]
Car = Annotated[str, typer.Option("--car", metavar="NAME", help="Days of this car alone.")]
Who = Annotated[str, typer.Option("--who", metavar="NAME", help="Who wants to know, for the history.")]
OTHER_NUMBERS = 3


def again(year: Year = None, car: Car = "", who: Who = "", data: DataFolder = None) -> None:
    """Fit the newest result of each day again as then, and say whether its numbers are the same.

    \b
    stillair again                            every day
    stillair again --year 2026 --car "A-04"   a season of a car

    Each is fitted from the files, options and seed that were kept with it. Results are never replaced; what was found
    becomes part of the history, so that no server may be running on the archive.
    Exit code 0: all numbers are those of then. 3: some are not; the table says which, and what differs. 2: nothing
    to fit, or the archive cannot be used.
    """
    from pathlib import Path
    from tempfile import TemporaryDirectory

    from server.archive.archive import Archive
    from server.commands.progress import Progress
    from server.results.again_season import fit_each, keep_season_again, results_to_fit, scope_words
    from server.settings import load

    archive = Archive(load(data_folder=data).data_folder)
    reports: list[dict[str, Any]] = []
    try:
        archive.open()
        with archive.database.reading() as session:
            results = results_to_fit(archive, session, year, car)
        with TemporaryDirectory(dir=archive.scratch) as scratch:
            payload = {"scratch": scratch, "results": results, "scope": scope_words(year, car), "who": who}
            with Progress() as progress:
                fit_each(results, archive.raw.address, Path(scratch), progress, reports.append)
            with archive.database.writing() as session:
                keep_season_again(archive, session, payload, {})
    finally:
        archive.close()
    for line in lines(reports):
        typer.echo(line)
    if any(report["outcome"] != "same" for report in reports):
        raise typer.Exit(OTHER_NUMBERS)


def lines(reports: Sequence[dict[str, Any]]) -> list[str]:
    """The sentence, a table with a line a result, and of each that differs which numbers moved and why."""
    from server.results.again_words import WORDS, again_sentence, changes_sentence, season_sentence, short_change

    outcomes, names = [one["outcome"] for one in reports], [one["day"] for one in reports]
    rows = [("day", "result", "numbers", "what differs between then and now")]
    rows += [(one["day"], str(one["result_id"]), WORDS[one["outcome"]], short_change(one)) for one in reports]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    padded = ("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    told = ["", *(line.rstrip() for line in padded)]
    for one in (each for each in reports if each["outcome"] != "same"):
        told += ["", again_sentence(one), *filter(None, [changes_sentence(one)])]
        told += [f"  {move['place']}: {move['then']} then, {move['now']} now {move['change']}".rstrip()
                 for move in one.get("shown", [])[:12] if move["then"]]  # fmt: skip
    return [season_sentence(outcomes, names), *told]
