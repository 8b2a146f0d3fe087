"""`stillair serve`: the pages for one's own days."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from server.commands.options import DataFolder, Host, Port

DayFolder = Annotated[
    Path | None, typer.Option("--day", metavar="FOLDER", help="Test-day folder to show on the first page.")
]


def serve(day: DayFolder = None, data: DataFolder = None, host: Host = None, port: Port = None) -> None:
    """Open the pages, to drop a zipped test-day folder or logs on and see the areas.

    \b
    stillair serve                                for this computer alone
    stillair serve --day "2026-05-09 long apron"  starts with that day
    stillair serve --host 0.0.0.0 --port 8000     for everybody on the team's network

    Without --host nobody needs a password. On a network everybody signs in: the first start prints a link
    that makes the owner's account; owners invite the others.
    """
    from server.commands.web_server import run_server
    from server.settings import load

    run_server(load(day_folder=day, data_folder=data, host=host, port=port))
