"""Options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

DataFolder = Annotated[
    Path | None,
    typer.Option("--data", metavar="FOLDER", help="Where everything is kept (Stillair in the home folder)."),
]
Port = Annotated[
    int | None,
    typer.Option("--port", min=0, max=65535, help="Port of the pages (8421); if taken, the next free one."),
]
Host = Annotated[
    str | None,
    typer.Option(
        "--host",
        metavar="ADDRESS",
        help="Address to listen on. Without it this computer alone (127.0.0.1); 0.0.0.0 lets others in.",
    ),
]
