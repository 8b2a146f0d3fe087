"""The points by which a part is placed on a photo: as they stand, and as they are typed or picked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.errors import StillairError
from server.testday.tufts import PointPair, TuftStation, ViewRegistration
from server.tufts.placing import homography_of, part_on_photo
from server.tufts.plans import PlanFigure, plan_figure
from server.tufts.service import Photo, station_values, stations_for, stations_of

ROWS = 6
SPARE_ROWS = 2
FARTHEST = 100_000.0
NO_NUMBERS = "Point {row}: each point needs its place on the part [mm] and on the photo [px], in numbers."
Cells = tuple[str, str, str, str, str]


@dataclass(frozen=True, slots=True)
class PointsView:
    """The form's rows (name, x and y on the part [mm], x and y on the photo [px]), the plan, how well they fit."""

    rows: tuple[Cells, ...]
    plan: PlanFigure | None
    stations: tuple[str, ...]
    sentence: str


def points_view(session: Session, photo: Photo) -> PointsView:
    """As they stand."""
    lying = part_on_photo(session, photo)
    values = _stations(session, photo)
    pairs = lying.pairs if lying else ()
    rows = [_cells(one) for one in pairs]
    rows += [("", "", "", "", "")] * max(ROWS - len(rows), SPARE_ROWS)
    plan = plan_figure(values) if values else None
    sentence = ""
    if lying is not None:
        fit = lying.homography
        well = "exactly, so that nothing checks them" if not fit.dof else f"within {fit.residual_px:.1f} px"
        by = f" of {lying.who}" if lying.who else ""
        sentence = f"The part lies on view {photo.view} by {len(pairs)} points{by}; they fit {well}."
    return PointsView(tuple(rows), plan, tuple(one.name for one in values), sentence)


def _stations(session: Session, photo: Photo) -> tuple[TuftStation, ...]:
    row = stations_for(stations_of(session, photo.day_id), photo.part, photo.setup) if photo.part else None
    return station_values(row) if row is not None else ()


def _cells(one: PointPair) -> Cells:
    return one.name, f"{1000 * one.x_m:g}", f"{1000 * one.y_m:g}", f"{one.x_px:g}", f"{one.y_px:g}"


def typed_pairs(session: Session, photo: Photo, rows: Sequence[Cells]) -> list[PointPair]:
    """The rows of the form; a station's place need not be typed. Raises StillairError, naming the row."""
    known = {one.name: one for one in _stations(session, photo)}
    pairs = [_pair(number, row, known) for number, row in enumerate(rows, start=1) if any(cell.strip() for cell in row)]
    picked = [one for one in pairs if one is not None]
    if len(picked) >= 4:
        view = ViewRegistration(photo.view, photo.part, tuple(picked))
        homography_of(view)  # what cannot tell how the part lies is refused here
    return picked


def _pair(number: int, row: Cells, known: dict[str, TuftStation]) -> PointPair | None:
    name, *cells = (cell.strip() for cell in row)
    if not any(cells[2:]):
        return None  # named, and not found on the photo
    if name in known and not (cells[0] or cells[1]):
        cells[:2] = [f"{1000 * known[name].x_m:.6g}", f"{1000 * known[name].y_m:.6g}"]
    x_mm, y_mm, x_px, y_px = (_number(cell, number) for cell in cells)
    return PointPair(x_mm / 1000, y_mm / 1000, x_px, y_px, name)


def _number(text: str, row: int) -> float:
    try:
        value = float(text.replace(",", ".").replace("−", "-"))
    except ValueError:
        value = math.nan
    if not abs(value) <= FARTHEST:
        raise StillairError(NO_NUMBERS.format(row=row))
    return value
