"""The command `stillair`, and `python3 -m server` with the same commands."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from server import __version__
from server.commands.again import again
from server.commands.backup import backup, restore
from server.commands.cluster import scheduler, worker
from server.commands.demo import demo
from server.commands.export_day import export
from server.commands.fit import finding_codes, fit
from server.commands.import_day import import_days
from server.commands.invite import invite
from server.commands.move import move
from server.commands.pack import pack, unpack
from server.commands.serve import serve
from server.commands.study import study
from server.commands.verify import verify
from server.commands.write_report import report
from server.errors import StillairError
from server.locations import named_data_folder, use_numba_cache

CANNOT_BE_DONE = 2

app = typer.Typer(
    name="stillair",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def show_version(wanted: bool) -> None:
    """Print the version and stop, when asked for."""
    if wanted:
        typer.echo(f"stillair {__version__}")
        raise typer.Exit


Version = Annotated[
    bool,
    typer.Option("--version", callback=show_version, is_eager=True, help="Print the version and stop."),
]


@app.callback()
def stillair(
    version: Version = False,
) -> None:
    """Drag areas of a race car from a day of coast-downs on a straight, with intervals.

    \b
    First look, on a made-up day:    stillair demo
    Your own day, in a browser:      stillair serve
    Your own day, as text:           stillair fit "2026-05-09 long apron"
    The same for another program:    stillair fit "2026-05-09 long apron" --json
    Do the intervals hold:           stillair study "2026-05-09 long apron"
    Are results still made alike:    stillair again
    Folders into the archive:        stillair import "2026-05-09 long apron"
    A day out of it, byte for byte:  stillair export 3 "long apron"
    A report to take home:           stillair report season season.pdf --year 2026
    A season in one zip, and back:   stillair pack "season 2026.zip" --year 2026
    Is all as it was kept:           stillair verify
    A copy of all, and back:         stillair backup /media/disk/stillair
    Onto a database server:          stillair move
    Long work by many processes:     stillair scheduler
                                     stillair worker tcp://pitwall:8786
    A code for a new account:        stillair invite --role engineer
    What a command takes:            stillair fit --help

    From a clone, `python3 -m server` (on Windows `py -m server`) stands for `stillair`.
    """


app.command(short_help="Open the pages on a made-up test day.")(demo)
app.command(short_help="Open the pages for your own days.")(serve)
app.command(short_help="Fit a test-day folder, as text or JSON.", epilog=finding_codes())(fit)
app.command(short_help="Hold the intervals against simulated days.")(study)
app.command(short_help="Fit results again as then: the same numbers?")(again)
app.command("import", short_help="Keep test-day folders in the archive.")(import_days)
app.command(short_help="Write a day of the archive as a folder.")(export)
app.command(short_help="Write a report as PDF or HTML.")(report)
app.command(short_help="Pack days, tables, history into one zip.")(pack)
app.command(short_help="Unpack a season into an empty archive.")(unpack)
app.command(short_help="Check that all is as it was kept.")(verify)
app.command(short_help="Copy the whole archive, also beside a server.")(backup)
app.command(short_help="Put a backup into an empty folder.")(restore)
app.command(short_help="Move the database onto a PostgreSQL server.")(move)
app.command(short_help="Hand out long work to workers.")(scheduler)
app.command(short_help="Do what a scheduler hands out.")(worker)
app.command(short_help="Print a code that makes an account.")(invite)


def main() -> None:
    """Run the command line; an error that a person can act on ends it with one sentence and code 2."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    use_numba_cache(named_data_folder(sys.argv[1:]))
    try:
        app()
    except StillairError as error:
        typer.echo(f"stillair: {error}", err=True)
        sys.exit(CANNOT_BE_DONE)


if __name__ == "__main__":
    main()
