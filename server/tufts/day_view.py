"""The photos of a day by part and setup, side by side, each with the reading that holds the most marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from sqlalchemy.orm import Session

from server.days.day_view import day_marks
from server.figures.theme import SetupMark
from server.testday.values import Day
from server.tufts.agreeing import (
    Readings,
    against_prediction,
    between_setups,
    first_of_each,
    predicted_on_part,
    seen_on_part,
)
from server.tufts.glyphs import PhotoFigure, figure, glyphs_of
from server.tufts.photo_view import PhotoNow, photo_now, predicted_glyphs
from server.tufts.service import MACHINE, NamedMark, Photo, photos_of

SHOWN = "screen"


@dataclass(frozen=True, slots=True)
class Cell:
    """The photos of one part in one setup."""

    setup: str
    mark: SetupMark
    figures: tuple[PhotoFigure, ...]
    agreement: str


@dataclass(frozen=True, slots=True)
class PartRow:
    """A part in the setups that it was photographed in. between: two setups at the same stations, in words."""

    part: str
    cells: tuple[Cell, ...]
    between: tuple[tuple[str, str, str], ...]


def day_photos(session: Session, day: Day, day_id: int) -> list[PhotoNow]:
    """The photos of a day as they stand."""
    return [photo_now(session, photo) for photo in photos_of(session, day, day_id)]


def run_photos(session: Session, day: Day, day_id: int, run: int) -> tuple[PhotoFigure, ...]:
    """The photos of a run, for its page."""
    mine = (photo for photo in photos_of(session, day, day_id) if photo.run == run)
    return tuple(photo_figure(photo_now(session, photo)) for photo in mine)


def part_rows(day: Day, photos: Sequence[PhotoNow]) -> tuple[PartRow, ...]:
    """Part by part, setup by setup in the day's order; photos without part or setup are left for `unsorted`."""
    marks = day_marks(day)
    rows = []
    for part in sorted({one.photo.part for one in photos if _is_sorted(one.photo, marks)}):
        cells, seen = [], {}
        for setup, mark in marks.items():
            mine = [one for one in photos if one.photo.part == part and one.photo.setup == setup]
            shown = [one for one in mine if _is_sorted(one.photo, marks)]
            if shown:
                seen[setup] = seen_at_stations(shown)
                figures = tuple(photo_figure(one) for one in shown)
                cells.append(Cell(setup, mark, figures, _against_prediction(shown, seen[setup])))
        rows.append(PartRow(part, tuple(cells), _between(seen)))
    return tuple(rows)


def seen_at_stations(photos: Sequence[PhotoNow]) -> list[Readings]:
    """Photo by photo, what the reading with the most marks says at the stations, directions on the part."""
    seen = ([one.mark for one in best_reading(photo.layers)[1]] for photo in photos)
    return [seen_on_part(marks, photo.stations, photo.lie) for photo, marks in zip(photos, seen, strict=True)]


def _against_prediction(photos: Sequence[PhotoNow], seen: Sequence[Readings]) -> str:
    predicted = [predicted_on_part(photo.stations) for photo in photos]
    return against_prediction(first_of_each(seen), first_of_each(predicted))


def _between(seen: Mapping[str, Sequence[Readings]]) -> tuple[tuple[str, str, str], ...]:
    told = ((one, two, between_setups(seen[one], seen[two])) for one, two in combinations(seen, 2))
    return tuple(one for one in told if one[2])


def unsorted(day: Day, photos: Sequence[PhotoNow]) -> tuple[PhotoFigure, ...]:
    """Photos of which nobody said part or setup."""
    marks = day_marks(day)
    left = (one for one in photos if one.photo.kind == "photo" and not _is_sorted(one.photo, marks))
    return tuple(photo_figure(one, "list") for one in left)


def predictions(photos: Sequence[PhotoNow]) -> tuple[PhotoFigure, ...]:
    """Pictures of predicted surface flow."""
    return tuple(photo_figure(one) for one in photos if one.photo.kind == "prediction")


def photo_figure(now: PhotoNow, size: str = SHOWN) -> PhotoFigure:
    """A photo with the reading that holds the most marks, the prediction beneath."""
    reader, marks = best_reading(now.layers)
    photo = now.photo
    named = ", ".join(part for part in (f"run {photo.run}" if photo.run is not None else "", photo.view) if part)
    title = f"{named or photo.name}: " + (f"{_many(len(marks), 'tuft')} by {reader}" if reader else "not marked yet")
    return figure(photo, [*predicted_glyphs(now.stations), *glyphs_of(marks)], title, reader, size)


def best_reading(layers: Mapping[str, Sequence[NamedMark]]) -> tuple[str, Sequence[NamedMark]]:
    """Who marked most, and the marks; nobody's where there are none."""
    people = [(reader, marks) for reader, marks in layers.items() if reader != MACHINE and marks]
    return max(people, key=lambda pair: len(pair[1]), default=("", ()))


def _is_sorted(photo: Photo, marks: Mapping[str, SetupMark]) -> bool:
    return photo.kind == "photo" and bool(photo.part) and photo.setup in marks


def day_sentence(photos: Sequence[PhotoNow]) -> str:
    """What there is of tufts, and what to do next."""
    seen = [one for one in photos if one.photo.kind == "photo"]
    if not seen:
        return "No tuft photo yet; send some from the camera or the phone, and mark what the tufts do."
    marked = [one for one in seen if best_reading(one.layers)[0]]
    tufts = sum(len(best_reading(one.layers)[1]) for one in marked)
    words = f"{_many(len(seen), 'photo')}, {len(marked)} marked, {_many(tufts, 'tuft')}"
    loose = [one for one in seen if not (one.photo.part and one.photo.setup)]
    if loose:
        return f"{words}; {len(loose)} still need{'s' if len(loose) == 1 else ''} a run and a part."
    if len(marked) < len(seen):
        return f"{words}; {len(seen) - len(marked)} to be marked next."
    return f"{words}."


def _many(count: int, name: str) -> str:
    return f"{count} {name}{'' if count == 1 else 's'}"
