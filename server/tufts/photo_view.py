"""What the page of a photo shows: its figure, everybody's reading, what is proposed, and the same for the script."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Any

from sqlalchemy.orm import Session

from server.testday.tufts import TuftMark, TuftStation
from server.tufts.agreeing import against_prediction, between_readings, predicted_on_part, seen_on_part
from server.tufts.glyphs import Glyph, PhotoFigure, counted, figure, glyph_of, glyphs_of
from server.tufts.placing import Lying, PlacedStation, part_on_photo, placed_stations
from server.tufts.service import MACHINE, NamedMark, Photo, layers_of, readings

if TYPE_CHECKING:
    from server.aero.homography import Homography

SENT = ("x_px", "y_px", "direction_rad")


@dataclass(frozen=True, slots=True)
class Reading:
    """A person's reading of a photo."""

    reader: str
    figure: PhotoFigure
    words: str
    marks: tuple[NamedMark, ...]
    agreement: str


@dataclass(frozen=True, slots=True)
class PhotoNow:
    """A photo and all that was marked, placed and proposed on it."""

    photo: Photo
    layers: Mapping[str, Sequence[NamedMark]]
    stations: tuple[PlacedStation, ...]
    lying: Lying | None

    @property
    def proposals(self) -> tuple[NamedMark, ...]:
        """What the program proposes."""
        return tuple(self.layers.get(MACHINE, ()))

    @property
    def lie(self) -> Homography | None:
        """How the part lies on the photo, where that is known."""
        return self.lying.homography if self.lying else None

    def of(self, reader: str) -> tuple[NamedMark, ...]:
        """A person's marks."""
        return tuple(self.layers.get(reader, ()))


def photo_now(session: Session, photo: Photo) -> PhotoNow:
    """A photo as it stands."""
    layers = layers_of(session, [photo.id]).get(photo.id, {})
    return PhotoNow(photo, layers, placed_stations(session, photo), part_on_photo(session, photo))


def reading_views(now: PhotoNow) -> tuple[Reading, ...]:
    """Everybody's reading side by side, the prediction beneath each."""
    predicted = predicted_glyphs(now.stations)
    views = []
    for reader, marks in readings(now.layers).items():
        named = now.of(reader)
        title = f"{reader}: {len(marks)} mark{'' if len(marks) == 1 else 's'}"
        drawn = figure(now.photo, [*predicted, *glyphs_of(named)], title, reader)
        views.append(Reading(reader, drawn, counted(marks), named, prediction_words(now, marks)))
    return tuple(views)


def prediction_words(now: PhotoNow, marks: Sequence[TuftMark]) -> str:
    """Whether a reading says what is predicted; empty where nothing is."""
    return against_prediction(seen_on_part(marks, now.stations, now.lie), predicted_on_part(now.stations))


def reader_pairs(now: PhotoNow) -> tuple[tuple[str, str, str], ...]:
    """Two readers and whether they say the same, each two once."""
    found = readings(now.layers)
    pairs = combinations(found, 2)
    told = ((one, two, between_readings(found[one], found[two], now.stations, now.lie)) for one, two in pairs)
    return tuple((one, two, words or "no place that both marked") for one, two, words in told)


def predicted_glyphs(stations: Sequence[PlacedStation]) -> list[Glyph]:
    """The prediction where it says a direction or a condition."""
    told = (one for one in stations if one.mark.direction_rad is not None or one.mark.condition is not None)
    return [glyph_of(one.mark, "predicted") for one in told]


def board_state(now: PhotoNow, reader: str, places: Mapping[str, str]) -> str:
    """What the script that marks needs, as JSON. places: picture addresses by their longest side."""
    photo = now.photo
    state = {
        "width": photo.width_px,
        "height": photo.height_px,
        "reader": reader,
        "pictures": places,
        "marks": [_sent(one) for one in now.of(reader)],
        "proposals": [_proposal(one) for one in now.proposals] + _station_places(now.stations),
        "predicted": [_predicted(one) for one in now.stations if one.mark.direction_rad is not None],
    }
    return json.dumps(state, ensure_ascii=False, separators=(",", ":"))


def _sent(one: NamedMark) -> dict[str, Any]:
    values = dataclasses.asdict(one.mark)
    words = {"condition": one.mark.condition or "", "station": one.mark.station or "", "by": one.mark.by}
    return {"mark": one.key, **{name: values[name] for name in SENT}, **words}


def _proposal(one: NamedMark) -> dict[str, Any]:
    """settled: something told root from loose end; length_px: where the other end is, should it be the root."""
    settled = one.mark.direction_settled_by is not None
    return {**_sent(one), "kind": "machine", "settled": settled, "length_px": one.mark.length_px}


def _station_places(stations: Sequence[PlacedStation]) -> list[dict[str, Any]]:
    """Where stations lie, without the prediction: it must not lead the hand that marks."""
    return [
        {
            "mark": one.key,
            "x_px": round(one.mark.x_px, 1),
            "y_px": round(one.mark.y_px, 1),
            "direction_rad": None,
            "condition": "",
            "station": one.station.name,
            "kind": "station",
        }
        for one in stations
    ]


def _predicted(one: PlacedStation) -> dict[str, Any]:
    placed = {name: getattr(one.mark, name) for name in SENT}
    return {**placed, "condition": one.mark.condition or "unjudged", "station": one.station.name}


def station_names(stations: Sequence[TuftStation]) -> tuple[str, ...]:
    """Their names, for a form."""
    return tuple(one.name for one in stations)
