"""`stillair verify`: is all that the archive keeps as it was kept?"""

from __future__ import annotations

import typer

from server.commands.look_over import looked_over, tell_faults
from server.commands.options import DataFolder


def verify(data: DataFolder = None) -> None:
    """Check the archive: every hash, every event, every day and result; also while a server runs.

    \b
    stillair verify                     the archive in the home folder
    stillair verify --data /srv/team    another one

    Each fault is one line on standard output. Nothing is changed or mended.
    Exit code 0: no fault. 3: faults. 2: there is no archive that this program can read.
    """
    from server.archive.events import head
    from server.archive.read_only import ReadOnlyArchive
    from server.commands.progress import Progress
    from server.settings import load

    archive = ReadOnlyArchive(load(data_folder=data).data_folder)
    try:
        with Progress() as progress:
            found, looked_at = looked_over(archive, progress)
        tell_faults(found)
        with archive.database.reading() as session:
            number, sha256 = head(session)
    finally:
        archive.close()
    typer.echo(f"The archive is as it was kept: {looked_at}.")
    typer.echo(f"Its newest event is number {number}, SHA-256 {sha256};")
    typer.echo("written down elsewhere, that proves later that none was cut off the end.")
