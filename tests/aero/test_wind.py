"""Wind in the car's axes (source: tests/published/cfr_1037_528/CITATION)."""

import numpy as np
import pytest

from server.aero.wind import air_speed, wind_at_car, yaw_angle
from tests.published import table

MILE_PER_HOUR = 0.44704


def example() -> dict[str, float]:
    return {str(row["quantity"]): float(row["value"]) for row in table("cfr_1037_528", "example")}


def test_worked_example_of_40_cfr_1037_528() -> None:
    """7.1 mi/h from 47° against 64.9 mi/h: 69.93 mi/h of air at 4.26° of yaw.

    The inputs as printed make 69.935, which the source cut to 69.93: one unit of the last digit is allowed.
    """
    given = example()
    wind = wind_at_car(given["wind_speed"] * MILE_PER_HOUR, np.deg2rad(given["wind_direction"]), 0.0)
    v = given["vehicle_speed"] * MILE_PER_HOUR
    assert air_speed(v, *wind) / MILE_PER_HOUR == pytest.approx(given["air_speed"], abs=0.01)
    assert np.rad2deg(yaw_angle(v, *wind)) == pytest.approx(given["yaw"], abs=0.005)


def test_return_run_meets_the_wind_from_behind() -> None:
    given = example()
    out = wind_at_car(given["wind_speed"], np.deg2rad(47.0), 0.0)
    back = wind_at_car(given["wind_speed"], np.deg2rad(47.0), np.pi)
    np.testing.assert_allclose([back.head_mps, back.cross_mps], [-out.head_mps, -out.cross_mps], rtol=1e-14)


@pytest.mark.parametrize(
    ("from_deg", "heading_deg", "head", "cross"),
    [
        (82, 82, 3.0, 0.0),
        (262, 82, -3.0, 0.0),
        (172, 82, 0.0, 3.0),
        (352, 82, 0.0, -3.0),
        (10, 350, 2.819, 1.026),
    ],
)
def test_named_by_where_it_comes_from(from_deg: float, heading_deg: float, head: float, cross: float) -> None:
    """A wind from ahead brakes; one from the right counts positive; bearings go round through north."""
    wind = wind_at_car(3.0, np.deg2rad(from_deg), np.deg2rad(heading_deg))
    assert wind.head_mps == pytest.approx(head, abs=5e-4)
    assert wind.cross_mps == pytest.approx(cross, abs=5e-4)


def test_opposite_runs_leave_the_square_of_the_wind() -> None:
    """Mean of U² over both directions is v² + w²: at 20 m/s, 1, 2, 3, 5 m/s leave 0.25, 1.0, 2.25, 6.25 %."""
    w = np.array([1.0, 2.0, 3.0, 5.0])
    mean = 0.5 * (air_speed(20.0, w) ** 2 + air_speed(20.0, -w) ** 2)
    np.testing.assert_allclose(100.0 * (mean / 400.0 - 1.0), [0.25, 1.0, 2.25, 6.25], rtol=1e-12)


def test_negative_wind_speed_is_refused() -> None:
    with pytest.raises(ValueError, match="wind_speed_mps"):
        wind_at_car(-1.0, 0.0, 0.0)
