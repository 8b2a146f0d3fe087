"""`stillair demo`: the pages with a made-up day, so that a newcomer sees a result at once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from server.commands.options import DataFolder, Port

SAMPLE_DAY = "2026-05-09 calm morning"

SampleDay = Annotated[str, typer.Option("--day", metavar="NAME", help="Which made-up day to open.")]


def demo(day: SampleDay = SAMPLE_DAY, data: DataFolder = None, port: Port = None) -> None:
    """Open the pages on a made-up test day: its logs become drag areas while you watch.

    \b
    stillair demo                                     data in the home folder, port 8421
    stillair demo --day "2026-06-20 gusty afternoon"  another of the made-up days
    stillair demo --data /tmp/look --port 9000        leaves nothing in the home folder

    Team, car, venue and numbers of the days are made up. Your own day can be dropped on the page.
    """
    from server.commands.web_server import run_server
    from server.settings import load

    run_server(load(day_folder=sample_day(day), data_folder=data, port=port))


def sample_day(name: str) -> Path:
    """Folder of a made-up day; raises StillairError that lists the days when there is none of that name."""
    from server.errors import StillairError
    from server.locations import sample_data_folder, sample_day_folders

    days = {folder.name: folder for folder in sample_day_folders()}
    if name in days:
        return days[name]
    listed = ", ".join(f'"{day}"' for day in days) or f"none in {sample_data_folder()}"
    raise StillairError(f'There is no made-up day "{name}"; there are {listed}.')
