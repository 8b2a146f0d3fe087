"""Tufts of a day as part of its folder: as they stand now, the photos byte for byte as they came."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from sqlalchemy.orm import Session

from server.archive.raw_files import RawStore
from server.testday.folder_tufts import FOLDER, PHOTOS, FolderMark, FolderPhoto, FolderTufts, FolderView
from server.testday.folder_write_tufts import tuft_files
from server.testday.tufts import PointPair
from server.tufts.service import Photo, layers_of, photos_of, station_values, stations_of, views_of


class HasRaw(Protocol):
    """An archive, served or read only."""

    @property
    def raw(self) -> RawStore:
        """Its raw files."""


def day_tufts(session: Session, day_id: int) -> FolderTufts:
    """What a day holds of tufts, as plain values; photos that were taken out are left out."""
    photos = photos_of(session, None, day_id)
    paths = {one.id: one.path for one in photos}
    layers = layers_of(session, paths)
    marks = (
        FolderMark(paths[photo_id], reader, one.key, one.mark)
        for photo_id in paths
        for reader, named in layers.get(photo_id, {}).items()
        for one in named
    )
    rows = [row for row in stations_of(session, day_id).values() if row.stations]
    stations = tuple(one for row in rows for one in station_values(row))
    views = (row for row in views_of(session, day_id).values() if row.photo_id in paths)
    told = (FolderView(row.view, row.part, paths[row.photo_id], _pairs(row.pairs)) for row in views)
    return FolderTufts(tuple(_photo(one) for one in photos), tuple(marks), stations, tuple(told))


def _pairs(kept: list[dict[str, float]]) -> tuple[PointPair, ...]:
    return tuple(PointPair(**one) for one in kept)  # type: ignore[arg-type]


def _photo(one: Photo) -> FolderPhoto:
    setup = "" if one.run is not None else one.setup
    said = {name: getattr(one, name) for name in ("part", "view", "settled", "standing", "flow_rad", "burst", "notes")}
    return FolderPhoto(one.path, one.kind, one.run, setup, **said)


def with_tufts(
    archive: HasRaw, session: Session, day_id: int, files: Mapping[str, Path]
) -> dict[str, Path | bytes]:
    """The files of a day's folder with its tufts as they stand in place of those that it once came with."""
    tufts = day_tufts(session, day_id)
    if not (tufts.photos or tufts.stations):
        return dict(files)
    others = {path: file for path, file in files.items() if path != PHOTOS and not path.startswith(f"{FOLDER}/")}
    photos = {one.path: archive.raw.path(one.sha256) for one in photos_of(session, None, day_id)}
    return {**others, **photos, **tuft_files(tufts)}
