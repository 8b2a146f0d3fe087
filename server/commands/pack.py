"""`stillair pack` and `stillair unpack`: a season as one zip, and one into an empty archive."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from server.commands.look_over import looked_over, tell_faults
from server.commands.options import DataFolder

if TYPE_CHECKING:
    from server.archive.archive import Archive

Target = Annotated[Path, typer.Argument(metavar="ZIP", help="The zip to write; one that is not there yet.")]
Season = Annotated[Path, typer.Argument(metavar="ZIP", help="The zip of a packed season.")]
Year = Annotated[int | None, typer.Option("--year", metavar="YEAR", help="Days of this year alone.")]
Car = Annotated[str, typer.Option("--car", metavar="NAME", help="Days of this car alone.")]
Who = Annotated[str, typer.Option("--who", metavar="NAME", help="Who brings it, for the history.")]


def pack(zip_file: Target, year: Year = None, car: Car = "", data: DataFolder = None) -> None:
    """Pack days into one zip: folders, tables, history, and a manifest of SHA-256; also while a server runs.

    \b
    stillair pack all.zip                               every day
    stillair pack "season 2026.zip" --year 2026         a season
    stillair pack a04.zip --year 2026 --car "A-04"      of one car

    Its README.txt says what is carried and what not. Nothing is written where a kept file is not as it was.
    """
    import logging
    from tempfile import TemporaryDirectory

    from server.archive.read_only import ReadOnlyArchive
    from server.errors import StillairError
    from server.packing.looked_at import LookedAt
    from server.packing.season_zip import pack as packed_season
    from server.packing.season_zip import write_zip
    from server.settings import load

    logging.getLogger("server.days.facts").setLevel(logging.ERROR)  # what lists keep of a day can't be kept here
    if zip_file.exists():
        raise StillairError(f"{zip_file} is there already; name another file.")
    looked_at = ReadOnlyArchive(load(data_folder=data).data_folder)
    try:
        with TemporaryDirectory(prefix="stillair-") as scratch:
            archive = cast("Archive", LookedAt(looked_at, Path(scratch)))
            packed = packed_season(archive, Path(scratch), year, car)
            size = write_zip(packed, zip_file.absolute())
    finally:
        looked_at.close()
    days, files = len(packed.manifest["days"]), len(packed.files)
    typer.echo(f"{zip_file}: {days} day{'' if days == 1 else 's'}, {files} files, {size / 1e6:.1f} MB.")


def unpack(zip_file: Season, who: Who = "", data: DataFolder = None) -> None:
    """Unpack a season into an empty archive, and check all of it; no server may be running on it.

    \b
    stillair unpack "season 2026.zip" --data /srv/copy      into a folder that holds no archive yet
    stillair unpack "season 2026.zip" --who "Ada"           into the archive in the home folder, while it is empty

    Every file is held against the manifest before anything is kept; all of it is kept, or nothing.
    Exit code 0: all is as it was packed. 3: it is there, with faults, one a line. 2: nothing was unpacked.
    """
    from tempfile import TemporaryDirectory

    from server.archive.archive import Archive
    from server.commands.progress import Progress
    from server.errors import StillairError
    from server.packing.bringing import bring, check_empty, sweep_unpacked
    from server.packing.unpacking import unpack as taken_apart
    from server.settings import load

    if not zip_file.is_file():
        raise StillairError(f"There is no file {zip_file}.")
    archive = Archive(load(data_folder=data).data_folder)
    try:
        archive.open()
        sweep_unpacked(archive)
        with archive.database.reading() as session:
            check_empty(session)
        with TemporaryDirectory(dir=archive.scratch) as scratch, Progress() as progress:
            days = bring(archive, taken_apart(zip_file, Path(scratch), progress), who)
            found, looked_at = looked_over(archive, progress)
    finally:
        archive.close()
    tell_faults(found)
    count = f"{days} day{'' if days == 1 else 's'}"
    typer.echo(f"{count} unpacked into {archive.folder}, as they were packed: {looked_at}.")
