"""`stillair import`: test-day folders into the archive, fitted."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Annotated

import typer

from server.commands.options import DataFolder

if TYPE_CHECKING:
    from server.archive.archive import Archive
    from server.commands.progress import Progress

Folders = Annotated[
    list[Path], typer.Argument(metavar="FOLDER", help="A folder with a testday.toml in it, or a zip of one.")
]
NoFit = Annotated[bool, typer.Option("--no-fit", help="Leave the fit to the next `stillair serve`.")]
Who = Annotated[str, typer.Option("--who", metavar="NAME", help="Who brings it, for the history.")]


def import_days(folders: Folders, no_fit: NoFit = False, who: Who = "", data: DataFolder = None) -> None:
    """Keep test-day folders in the archive and fit them; no server may be running on it.

    \b
    stillair import "2026-05-09 long apron"      one day
    stillair import season/* --who "Ada"         several, each kept before the next is read
    stillair import day.zip --data /srv/team     into another archive

    A folder that is in the archive already stays one day. Nothing of a day is kept when it cannot be read.
    """
    from server.archive.archive import Archive
    from server.commands.progress import Progress
    from server.settings import load

    archive = Archive(load(data_folder=data).data_folder)
    try:
        archive.open()
        for folder in folders:
            with Progress() as progress:
                said = import_day(archive, folder, who, fit=not no_fit, progress=progress)
            typer.echo(said)
    finally:
        archive.close()


def import_day(archive: Archive, given: Path, who: str, *, fit: bool, progress: Progress) -> str:
    """Keep one day; gives what to say of it. Raises StillairError, nothing kept."""
    from sqlalchemy import select

    from server.commands.day_source import day_folder
    from server.days.revisions import queue_refit
    from server.days.service import IncomingDay, content_sha256, keep_day, newest_revision
    from server.days.tables import DayRevision
    from server.predictions.day_sets import keep_set_of_day
    from server.readers.load_day import load_day
    from server.results.service import keep_result, write_result
    from server.tufts.folder_job import queue_folder_photos

    with TemporaryDirectory(dir=archive.scratch) as scratch:
        progress(0.0, "reading the folder")
        folder = day_folder(given, Path(scratch))
        with archive.database.reading() as session:
            here = session.scalar(select(DayRevision).where(DayRevision.content_sha256 == content_sha256(folder)))
            if here is not None:
                return f"{given} is in the archive already: day {here.day_id}, revision {here.number}."
        day = load_day(folder)
        result_file = Path(scratch) / "result.zip"
        if fit:
            from server.analysis.day_fit import fit_day

            write_result(fit_day(day, progress=progress), result_file)
        upload = given if given.is_file() else None
        incoming = IncomingDay(day.name, day.date, folder, given.resolve().name, upload)
        with archive.database.writing() as session:
            kept = keep_day(archive, session, incoming, who)
            keep_set_of_day(archive, session, kept.id)
            queue_folder_photos(archive, session, kept.id, who)
            revision = newest_revision(session, kept.id)
            if fit:
                keep_result(archive, session, revision, result_file)
            else:
                queue_refit(archive, session, revision, day.name, who)
            return f"{given} is kept as day {kept.id}: {day.name}."
