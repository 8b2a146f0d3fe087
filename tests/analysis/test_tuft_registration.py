"""Stations on photos and marks on parts: there and back, matched, and carried to the next photo."""

import math

import numpy as np
import pytest

from server.aero.homography import DegeneratePointsError
from server.analysis.tuft_registration import carried, matched, on_part, register, seen_stations
from server.testday.tufts import PointPair, TuftMark, TuftStation, ViewRegistration

CORNERS = [
    (0.0, 0.0, 400, 300, "a"), (0.8, 0.0, 3000, 420, "b"), (0.8, 0.4, 2800, 1800, "c"), (0.0, 0.4, 520, 1500, "d"),
]  # fmt: skip
VIEW = ViewRegistration("left", "floor", tuple(PointPair(*corner) for corner in CORNERS))
STATIONS = tuple(
    TuftStation("floor", f"{i}{j}", 0.1 + 0.15 * i, 0.08 + 0.12 * j, 0.3) for i in range(5) for j in range(3)
)


def mark(x: float, y: float, way: float | None = 0.0, station: str | None = None) -> TuftMark:
    return TuftMark(x, y, way, None, "machine", False, station=station, length_px=90.0, direction_u_rad=0.01)


def test_a_mark_at_a_seen_station_lies_at_the_station() -> None:
    lies = register(VIEW)
    for seen in seen_stations(STATIONS, lies):
        back = on_part(mark(seen.x_px, seen.y_px, seen.direction_rad), lies)
        assert (back.x_m, back.y_m) == pytest.approx((seen.station.x_m, seen.station.y_m), abs=1e-9)
        assert back.direction_rad == pytest.approx(0.3)
        assert back.u_rad is not None
        assert 0.005 < back.u_rad < 0.05


def test_roots_take_the_nearest_station_and_strays_none() -> None:
    seen = seen_stations(STATIONS, register(VIEW))
    marks = [mark(s.x_px + 12, s.y_px - 9) for s in seen[:4]]
    stray = mark(seen[5].x_px + 220, seen[5].y_px + 190)
    given = mark(10.0, 10.0, station="42")
    found = matched([*marks, stray, given], seen)
    assert [m.station for m in found] == [*(s.station.name for s in seen[:4]), None, "42"]


@pytest.mark.parametrize("again", [("b",), ("a", "c"), ("a", "b", "c"), ("a", "b", "c", "d")])
def test_stations_follow_the_points_found_again(again: tuple[str, ...]) -> None:
    """Each number of points undoes the kind of move that it can."""
    turn = 0.0 if len(again) == 1 else 0.05
    scale = 1.0 if len(again) == 1 else 1.03
    spin = scale * np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    moved = {p.name: tuple(np.array([p.x_px, p.y_px]) @ spin + [31.0, -12.0]) for p in VIEW.pairs}
    found = carried(VIEW, {name: moved[name] for name in again})
    for pair in found.pairs:
        assert (pair.x_px, pair.y_px) == pytest.approx(moved[pair.name], abs=1e-6)


def test_points_that_cannot_carry_are_refused() -> None:
    with pytest.raises(DegeneratePointsError, match="None of the view's points was found again"):
        carried(VIEW, {"x": (1.0, 2.0)})
    line = ViewRegistration("v", "p", tuple(PointPair(x, 0, 100 * x, 5, str(x)) for x in range(4)))
    with pytest.raises(DegeneratePointsError, match="lie in a line"):
        carried(line, {str(x): (100.0 * x, 9.0) for x in range(3)})
