"""A whole archive looked over at the end of a command: its faults one a line, or what there was to look at."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from server.archive.archive import Archive
    from server.archive.read_only import ReadOnlyArchive
    from server.archive.worker import Progress

FAULTS_FOUND = 3


def looked_over(archive: ReadOnlyArchive | Archive, progress: Progress) -> tuple[list[str], str]:
    """Its faults, and how much there is of what."""
    from server.history.verify import counted, faults

    found = list(faults(archive, progress))  # type: ignore[arg-type]  # an open archive has all that is looked at
    with archive.database.reading() as session:
        return found, counted(session)


def tell_faults(found: Sequence[str]) -> None:
    """Print them, and end the command where there are any."""
    for fault in found:
        typer.echo(fault)
    if found:
        raise typer.Exit(FAULTS_FOUND)
