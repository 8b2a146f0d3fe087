"""The [car] table of a day folder, its axles and the calibrations of its sensors."""

from __future__ import annotations

import math
from itertools import pairwise

from server.testday import folder_keys as keys
from server.testday.defaults import (
    FRONT_WEIGHT_U_WITHOUT_DRIVER,
    missing_c1,
    typed_u,
)
from server.testday.folder_channels import read_calibrations
from server.testday.folder_numbers import (
    number,
    number_list,
    quantity,
    quantity_or_default,
    rising_pairs,
    stated_u,
)
from server.testday.folder_table import Table
from server.testday.values import Axle, Car, Driven, Quantity

CORNER_MASSES = "corner_mass_kg"
Corners = tuple[float, float, float, float]

_DRIVEN: tuple[Driven, ...] = ("front", "rear", "all")
_WEIGHTS_AGREE_WITHIN = 0.01
_MASSES_AGREE_WITHIN = 0.01


def read_car(root: Table) -> Car:
    """Read [car], [car.front], [car.rear] and [calibration.…]."""
    table = root.table("car", "[car]")
    if table is None:
        root.missing("[car]", "; the car's mass_kg is required")
    corners, aboard, corner_u = _corner_masses(table)
    mass = _mass(table, corners, aboard, corner_u)
    c0 = quantity_or_default(table, keys.ROLLING_C0)
    return Car(
        name=table.text("name") or "",
        mass_kg=mass,
        wheelbase_m=quantity_or_default(table, keys.WHEELBASE),
        front_weight=_front_weight(table, corners, aboard),
        cg_height_m=quantity_or_default(table, keys.CG_HEIGHT),
        driveline_drag_n=quantity_or_default(table, keys.DRIVELINE_DRAG),
        driveline_drag_n_per_mps=quantity_or_default(table, keys.DRIVELINE_DRAG_PER_SPEED),
        rolling_c0=c0,
        rolling_c1_s_per_m=quantity_or_default(table, keys.ROLLING_C1, missing_c1(c0)),
        front=_axle(table, "front"),
        rear=_axle(table, "rear"),
        driven=_driven(table),
        anti_squat=quantity_or_default(table, keys.ANTI_SQUAT, said=False),
        corner_mass_kg=corners,
        calibration=read_calibrations(root),
    )


def _driven(table: Table) -> Driven:
    word = table.word("driven", _DRIVEN, "the driven axle")
    if word is None:
        table.note("default-used", f"{table.place('driven')} is not given; rear is taken.")
    return next((known for known in _DRIVEN if known == word), "rear")


def _corner_masses(table: Table) -> tuple[Corners | None, Quantity | None, float]:
    """Return the masses on the four wheels [kg], the driver aboard, and u of one wheel's mass [kg]."""
    written = number_list(table, keys.CORNER_MASS, CORNER_MASSES, 4)
    aboard = quantity(table, keys.DRIVER_ABOARD)
    if written is None:
        stated_u(table, keys.CORNER_MASS, None)
        if aboard is not None:
            table.refuse(keys.DRIVER_ABOARD.name, f"is given without {CORNER_MASSES}.")
        return None, None, 0.0
    front_left, front_right, rear_left, rear_right = (float(mass) for mass in written)
    mean = float(sum(written)) / 4
    u = stated_u(table, keys.CORNER_MASS, mean)
    each_u = typed_u(keys.CORNER_MASS.field, mean) if u is None else u
    return (front_left, front_right, rear_left, rear_right), aboard, each_u


def _mass(table: Table, corners: Corners | None, aboard: Quantity | None, corner_u: float) -> Quantity:
    """Return the mass without driver: as given, or the four wheels less the driver aboard."""
    given = quantity(table, keys.MASS)
    if corners is None and given is None:
        table.missing(keys.MASS.name, f"; give the car's mass, or {CORNER_MASSES} with driver_aboard_kg")
    if corners is not None and aboard is None and given is None:
        table.missing(keys.DRIVER_ABOARD.name, f"; say how much of {CORNER_MASSES} was the driver")
    if corners is None or aboard is None:
        assert given is not None
        return given
    mass = math.fsum(corners) - aboard.value
    if not keys.MASS.low <= mass <= keys.MASS.high:
        table.refuse(CORNER_MASSES, f"less driver_aboard_kg is {mass:g} kg; {keys.MASS.what} cannot be that.")
    if given is not None and abs(given.value - mass) > _MASSES_AGREE_WITHIN * mass:
        text = f"is {given.value:g} kg and {CORNER_MASSES} less the driver {mass:g} kg; mass_kg is used."
        table.note("masses-disagree", f"{table.place(keys.MASS.name)} {text}", "check")
    return given or Quantity(mass, math.hypot(2.0 * corner_u, aboard.u if aboard.value else 0.0))


def _front_weight(table: Table, corners: Corners | None, aboard: Quantity | None) -> Quantity:
    """Return the front axle's share: as given, or from the four wheels."""
    if corners is None:
        return quantity_or_default(table, keys.FRONT_WEIGHT)
    given = quantity(table, keys.FRONT_WEIGHT)
    share = math.fsum(corners[:2]) / math.fsum(corners)
    if not keys.FRONT_WEIGHT.low <= share <= keys.FRONT_WEIGHT.high:
        table.refuse(CORNER_MASSES, f"puts {share:.0%} on the front axle; the order is fl, fr, rl, rr.")
    if given is not None and abs(given.value - share) > _WEIGHTS_AGREE_WITHIN:
        text = f"is {given.value:g} and {CORNER_MASSES} gives {share:.3f}; front_weight is used."
        table.note("masses-disagree", f"{table.place(keys.FRONT_WEIGHT.name)} {text}", "check")
    driver_seen = aboard is None or aboard.value > 0
    u = typed_u("front_weight", share) if driver_seen else FRONT_WEIGHT_U_WITHOUT_DRIVER
    return given or Quantity(share, u)


def _axle(car: Table, end: str) -> Axle:
    table = car.table(end, f"[car.{end}]") or Table({}, car.file, f"[car.{end}]", car.findings)
    ratio = quantity(table, keys.MOTION_RATIO)
    ratios = rising_pairs(table, "motion_ratio_table", keys.TRAVEL, keys.MOTION_RATIO)
    if ratio is not None and ratios:
        text = f"{table.place('motion_ratio')} is given beside motion_ratio_table; the table is used."
        table.note("given-twice", text, "check")
    return Axle(
        axle_inertia_kgm2=quantity_or_default(table, keys.AXLE_INERTIA),
        tyre_radius_m=quantity_or_default(table, keys.TYRE_RADIUS),
        spring_rate_n_per_m=quantity(table, keys.SPRING_RATE),
        motion_ratio=ratio,
        motion_ratio_table=ratios,
        wheel_rate_rel_u=number(table, keys.WHEEL_RATE_REL_U),
        tyre_rate_n_per_m=quantity_or_default(table, keys.TYRE_RATE, said=False),
        heave_table=_heave_table(table),
        ride_height_sensor_x_m=quantity_or_default(table, keys.SENSOR_X, said=False),
        joint_friction_n=quantity_or_default(table, keys.JOINT_FRICTION, said=False),
        pushrod_ratio=quantity(table, keys.PUSHROD_RATIO),
    )


def _heave_table(table: Table) -> tuple[tuple[float, float], ...]:
    pairs = rising_pairs(table, "heave_table", keys.TRAVEL, keys.AXLE_FORCE)
    if any(b[1] < a[1] for a, b in pairwise(pairs)):
        table.refuse("heave_table", "has a force that falls while the travel rises; a spring pushes back.")
    return pairs
