"""What is taken for a quantity that a day does not state, and how sure a bare number is.

All values are SI and keyed by the field names of `server.testday.values`. The widths are common
practice for small open-wheel cars, no source, except where one is named.
"""

from __future__ import annotations

from dataclasses import dataclass

from server.testday.values import Quantity

C1_OVER_C0_S_PER_M = 0.010  # SAE J2452 example worked in 40 CFR 1037.528: +23 % from 21 to 104 km/h
C1_RELATIVE_U = 0.5

MISSING: dict[str, Quantity] = {
    "wheelbase_m": Quantity(1.55, 0.05, "default"),
    "front_weight": Quantity(0.48, 0.03, "default"),
    "cg_height_m": Quantity(0.29, 0.04, "default"),
    "driveline_drag_n": Quantity(5.0, 4.0, "default"),
    "driveline_drag_n_per_mps": Quantity(0.25, 0.20, "default"),
    "rolling_c0": Quantity(0.018, 0.006, "default"),
    "anti_squat": Quantity(0.15, 0.20, "default"),
    "axle_inertia_kgm2": Quantity(0.40, 0.12, "default"),
    "tyre_radius_m": Quantity(0.230, 0.00345, "default"),
    "tyre_rate_n_per_m": Quantity(90_000.0, 20_000.0, "default"),
    "ride_height_sensor_x_m": Quantity(0.0, 0.05, "default"),
    "joint_friction_n": Quantity(20.0, 15.0, "default"),
    "loading_share": Quantity(1.0, 0.01, "default"),  # 15 mm off the axle on a wheelbase of 1.5 m
    "driver_mass_kg": Quantity(75.0, 10.0, "default"),
    "humidity": Quantity(0.50, 0.20, "default"),
}


@dataclass(frozen=True, slots=True)
class TypedU:
    """Standard uncertainty of a number given without one: max(absolute, relative · |value|)."""

    absolute: float = 0.0
    relative: float = 0.0

    def of(self, value: float) -> float:
        """Return u of `value` [same unit]."""
        return max(self.absolute, self.relative * abs(value))


TYPED: dict[str, TypedU] = {
    "mass_kg": TypedU(absolute=0.5),
    "corner_mass_kg": TypedU(absolute=0.25),
    "driver_mass_kg": TypedU(absolute=1.0),
    "ballast_kg": TypedU(absolute=0.2, relative=0.005),
    "wheelbase_m": TypedU(absolute=0.005),
    "front_weight": TypedU(absolute=0.005),
    "cg_height_m": TypedU(absolute=0.020),
    "driveline_drag_n": TypedU(absolute=0.5, relative=0.30),
    "driveline_drag_n_per_mps": TypedU(absolute=0.02, relative=0.30),
    "rolling_c0": TypedU(relative=0.15),
    "rolling_c1_s_per_m": TypedU(absolute=2e-5, relative=0.30),
    "anti_squat": TypedU(absolute=0.05),
    "axle_inertia_kgm2": TypedU(relative=0.10),
    "tyre_radius_m": TypedU(relative=0.005),
    "spring_rate_n_per_m": TypedU(relative=0.01),
    "motion_ratio": TypedU(relative=0.01),
    "tyre_rate_n_per_m": TypedU(relative=0.10),
    "ride_height_sensor_x_m": TypedU(absolute=0.01),
    "joint_friction_n": TypedU(absolute=2.0, relative=0.30),
    "pushrod_ratio": TypedU(relative=0.02),
    "loading_mass_kg": TypedU(absolute=0.2, relative=0.005),
    "loading_share": TypedU(absolute=0.01),
    "grade": TypedU(absolute=0.0005),
    "pressure_pa": TypedU(absolute=100.0),
    "temperature_k": TypedU(absolute=1.0),
    "humidity": TypedU(absolute=0.10),
    "wind_speed_mps": TypedU(absolute=0.3, relative=0.15),
    "wind_from_rad": TypedU(absolute=0.2617993877991494),  # 15°
    "scz_front_m2": TypedU(absolute=0.02, relative=0.10),
    "scz_rear_m2": TypedU(absolute=0.02, relative=0.10),
}

FRONT_WEIGHT_U_WITHOUT_DRIVER = 0.02  # corner masses taken with nobody aboard


def typed_u(field: str, value: float) -> float:
    """Return the standard uncertainty of a `value` that was typed without one.

    Parameters
    ----------
    field: name of the quantity in `server.testday.values`; 0 is returned for one that needs none.
    value: SI.
    """
    return TYPED[field].of(value) if field in TYPED else 0.0


def missing_quantity(field: str) -> Quantity:
    """Return the wide default of a quantity that was not given (KeyError: it has none)."""
    return MISSING[field]


def missing_c1(c0: Quantity) -> Quantity:
    """Return the default c1 = 0.010 s/m · c0 with u of half of it [s/m].

    Source: ratio from the SAE J2452 example worked in 40 CFR 1037.528.
    """
    c1 = C1_OVER_C0_S_PER_M * c0.value
    return Quantity(c1, C1_RELATIVE_U * c1, "default")
