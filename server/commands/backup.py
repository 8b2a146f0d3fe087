"""`stillair backup` and `stillair restore`: the whole archive copied, also beside a server, and put back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from server.commands.look_over import looked_over, tell_faults
from server.commands.options import DataFolder

Place = Annotated[Path, typer.Argument(metavar="FOLDER", help="Where backups stand, best on another disk.")]
Kept = Annotated[int, typer.Option("--keep", min=1, help="How many backups stay; raw files are shared by all.")]
Named = Annotated[str | None, typer.Option("--backup", metavar="NAME", help="Which one; without it the newest.")]
GONE = "Damaged or gone when the backup of {name} was made, and not put back: raw file {sha256}."


def backup(folder: Place, keep: Kept = 14, data: DataFolder = None) -> None:
    """Copy the whole archive, also while a server works on it.

    \b
    stillair backup /media/disk/stillair                    the archive in the home folder
    stillair backup /media/disk/stillair --data /srv/team   another one

    Raw files are copied once and shared by all backups; a backup gets its name when all of it is on disk.
    Where they lie in a store that computers share, they are copied from there: a backup is whole without it.
    A raw file that is damaged or gone stops no backup: it is named, and no whole backup goes for one without it.
    Exit code 0: all is copied. 3: all that is sound is, and each file that is not is named. 2: nothing was copied.
    """
    from dataclasses import asdict

    from server.archive.backups import back_up
    from server.archive.events import PROGRAM
    from server.archive.place import database_of
    from server.archive.read_only import ReadOnlyArchive
    from server.commands.progress import Progress
    from server.history.backup_job import damage_in_words, record_backup
    from server.settings import load

    settings = load(data_folder=data)
    place = settings.data_folder
    ReadOnlyArchive(place).close()
    with Progress() as progress:
        made = back_up(place, folder, keep, progress)
    database = database_of(place)
    try:
        with database.writing() as session:
            record_backup(session, PROGRAM, str(folder.resolve()), asdict(made))
    finally:
        database.close()
    new = f"{made.new_files} of them new ({made.new_bytes / 1e6:.1f} MB)"
    typer.echo(f"{folder / made.name}: {made.files} raw files, {new}.")
    if settings.raw_store:
        typer.echo(f"Raw files came from the store {settings.raw_store}; the backup is whole without it.")
    typer.echo(f"Its newest event is number {made.event}, SHA-256 {made.event_sha256}.")
    if made.damaged:
        typer.echo(damage_in_words(len(made.damaged), sum(not one.backup for one in made.damaged)), err=True)
    tell_faults([one.told for one in made.damaged])


def restore(folder: Place, named: Named = None, data: DataFolder = None) -> None:
    """Put a backup into an empty data folder, and check all of it.

    \b
    stillair restore /media/disk/stillair --data /srv/team      the newest backup
    stillair restore /media/disk/stillair --data /tmp/look --backup "2026-05-09 173000-120"

    Where STILLAIR_RAW_STORE names a store, raw files go there: so an archive gets to one, or from one to another.
    Files that were damaged when the backup was made are named; all else is put back.
    Exit code 0: all is as it was kept. 3: it is back, with faults, one a line. 2: nothing was put back.
    """
    from server.archive.backup_files import lacking_in
    from server.archive.read_only import ReadOnlyArchive
    from server.commands.progress import Progress
    from server.history.put_back import put_back
    from server.settings import load

    settings = load(data_folder=data)
    place = settings.data_folder
    with Progress() as progress:
        name = put_back(folder, named, place, progress)
        archive = ReadOnlyArchive(place)
        try:
            found, looked_at = looked_over(archive, progress)
        finally:
            archive.close()
    for one in lacking_in(folder, name):
        typer.echo(GONE.format(name=name, sha256=one.sha256), err=True)
    tell_faults(found)
    if settings.raw_store:
        typer.echo(f"Raw files went into the store {settings.raw_store}.")
    typer.echo(f"The backup of {name} is in {place}, as it was kept: {looked_at}.")
