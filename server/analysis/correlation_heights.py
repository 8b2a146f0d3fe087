"""At which ride heights a setup was: measured at speed, else standing and carried down its springs."""

from __future__ import annotations

import math

from server.analysis.axle_spring import AxleSpring, axle_springs
from server.analysis.correlated import Heights
from server.analysis.load_terms import ENDS
from server.analysis.result import AxleEnd, DayResult, Estimate, SetupResult
from server.analysis.ride_report import STATIC_U_M
from server.testday.values import Day, Quantity, Setup

SINK_UNKNOWN = Quantity(0.006, 0.004, "default")  # where nobody gave the springs (common practice, no source)
SINK_REL_U = 0.15  # of a sink from springs: rates, ratios and tyres together (common practice, no source)
DENSITY = 1.2
AT_SPEED = "the ride heights measured at the reference speed"
SPRINGS = "the standing ride heights, carried down the springs to the reference speed"
STANDING = "the standing ride heights less a usual 6 ± 8 mm, for nobody gave the springs"
UNKNOWN = "ride heights that nobody knows"


def setup_heights(result: DayResult, day: Day) -> dict[str, Heights]:
    """The ride heights of every setup of the result at the reference condition."""
    setups = {setup.name: setup for setup in day.setups}
    driver = next((run.driver_mass_kg.value for run in day.runs), 75.0)
    springs = axle_springs(day.car, driver)
    pressure = _pressure(result, day)
    return {one.name: _heights(one, setups.get(one.name), day, springs, pressure) for one in result.setups}


def _pressure(result: DayResult, day: Day) -> float:
    speed, density = result.reference.get("speed_mps"), result.reference.get("density_kgm3")
    rho = float(density) if isinstance(density, int | float) else DENSITY
    return 0.5 * rho * (float(speed) if isinstance(speed, int | float) else day.reference_speed_mps) ** 2


def _heights(
    told: SetupResult, setup: Setup | None, day: Day, springs: dict[AxleEnd, AxleSpring | None], pressure: float
) -> Heights:
    front, rear = (told.estimates.get(f"ride_height_{end}") for end in ("front", "rear"))
    if front is not None and rear is not None:
        return Heights(_plain(front), _plain(rear), AT_SPEED)
    if setup is None or setup.front_ride_height_m is None or setup.rear_ride_height_m is None:
        return Heights(None, None, UNKNOWN)
    low_front, low_rear = (_sink(told, end, day, springs.get(end), pressure) for end in ENDS)
    how = STANDING if low_front is None or low_rear is None else SPRINGS
    return Heights(
        _lowered(setup.front_ride_height_m, low_front or SINK_UNKNOWN),
        _lowered(setup.rear_ride_height_m, low_rear or SINK_UNKNOWN),
        how,
    )


def _plain(height: Estimate) -> Quantity:
    return Quantity(height.value, height.u, height.source)


def _lowered(static_m: float, sink: Quantity) -> Quantity:
    return Quantity(static_m - sink.value, math.hypot(STATIC_U_M, sink.u), "default")


def _sink(
    told: SetupResult, end: AxleEnd, day: Day, spring: AxleSpring | None, pressure: float
) -> Quantity | None:
    """How far the body comes down over an axle under its downforce: springs and tyres in series."""
    area = told.estimates.get(f"SCz_{end}")
    if area is None or spring is None:
        return None
    axle = day.car.front if end == "front" else day.car.rear
    compliance = 1.0 / spring.rate_n_per_m + 1.0 / (2.0 * axle.tyre_rate_n_per_m.value)
    sink = pressure * area.value * compliance
    return Quantity(sink, math.hypot(SINK_REL_U * sink, pressure * area.u * compliance), "default")
