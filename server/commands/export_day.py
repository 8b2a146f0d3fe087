"""`stillair export`: a day of the archive as a folder, byte for byte."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from server.commands.options import DataFolder
from server.errors import StillairError

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

Day = Annotated[str, typer.Argument(metavar="DAY", help="The day's number, or its name.")]
Target = Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder that is not there yet, or is empty.")]
Revision = Annotated[
    int | None, typer.Option("--revision", metavar="N", min=1, help="As it stood in this revision (the newest).")
]


def export(day: Day, folder: Target, revision: Revision = None, data: DataFolder = None) -> None:
    """Write a day of the archive as a test-day folder; also while a server runs.

    \b
    stillair export 3 "long apron"                 by number
    stillair export "Long apron" out --revision 2  by name, as it stood before the later changes

    The folder holds the day's own bytes, and its tuft photos and marks as they stand: imported again it gives the
    same results to the last digit.
    """
    from server.archive.read_only import ReadOnlyArchive
    from server.days.service import find_revision, newest_revision, revision_files, write_folder_of
    from server.settings import load
    from server.tufts.folder import with_tufts

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise StillairError(f"{folder} is there already and not empty; name another folder.")
    archive = ReadOnlyArchive(load(data_folder=data).data_folder)
    try:
        with archive.database.reading() as session:
            day_id = day_number(session, day)
            chosen = find_revision(session, day_id, revision) if revision else newest_revision(session, day_id)
            number, kept = chosen.number, revision_files(session, chosen.id)
            own = {path: archive.raw.path(sha256) for path, sha256 in kept.items()}
            files = dict(own) if revision else with_tufts(archive, session, day_id, own)
        if folder.is_dir():
            folder.rmdir()
        write_folder_of(files, folder.absolute())
        folder.chmod(0o755)
    finally:
        archive.close()
    typer.echo(f"Day {day_id}, revision {number}: {len(files)} files in {folder}.")


def day_number(session: Session, given: str) -> int:
    """The number of the day of that number or name. Raises StillairError."""
    from server.days.service import find_day, list_days

    if given.isdecimal():
        return find_day(session, int(given)).id
    found = [one for one in list_days(session) if one.name.casefold() == given.casefold()]
    if len(found) == 1:
        return found[0].id
    if found:
        numbers = ", ".join(str(one.id) for one in sorted(found, key=lambda one: one.id))
        raise StillairError(f'There are {len(found)} days "{given}", with the numbers {numbers}; name a number.')
    raise StillairError(f'There is no day "{given}" in the archive.')
