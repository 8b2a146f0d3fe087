"""The car of a simulated day as it really is, drawn about what the day states of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.aero.constants import STANDARD_GRAVITY
from server.analysis.axle_spring import AxleSpring, axle_spring
from server.analysis.simulate_plan import SimulationPlan
from server.testday.values import Axle, Car, FloatArray, Quantity

UNSTATED_SPRING = Quantity(40_000.0, 2_000.0, "default")
UNSTATED_ROD_RATIO = Quantity(1.0, 0.05, "default")
HEIGHT_GAIN_REL_U = 0.005
SUSPENSION_ROLES = tuple(
    f"{stem}_{place}"
    for stem, places in (
        ("damper", ("fl", "fr", "rl", "rr")),
        ("ride_height", ("front", "rear")),
        ("pushrod_load", ("fl", "fr", "rl", "rr")),
    )
    for place in places
)


class Draw:
    """Draws quantities about their stated values; with `draw` off it gives the stated values."""

    def __init__(self, rng: np.random.Generator, draw: bool) -> None:
        self._rng = rng
        self._draw = draw

    def normal(self, quantity: Quantity) -> float:
        """Normal about the stated value with its u."""
        z = float(self._rng.standard_normal())
        return quantity.value + (quantity.u * z if self._draw else 0.0)

    def noise(self) -> float:
        """Standard normal, whether or not the truth is drawn: for what nobody states."""
        return float(self._rng.standard_normal())

    def positive(self, quantity: Quantity) -> float:
        """Normal, cut at a hundredth of the stated value: for what can't be negative."""
        floor = 0.01 * abs(quantity.value)
        for _ in range(200):
            value = self.normal(quantity)
            if value >= floor:
                return value
        raise ValueError(f"a quantity of {quantity.value} ± {quantity.u} is hardly ever positive")

    def non_negative(self, quantity: Quantity) -> float:
        """As `positive`, and 0 for what is stated as none."""
        return self.positive(quantity) if quantity.value > 0.0 else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class TrueCar:
    """The car as it really is. Names as in `Car`; axle pairs are (front, rear).

    axles: as stated, for their motion ratios; springs: their curves as stated; rate_error: what the true force at
    a travel is above the stated one, relative. joint_friction_n: one corner. suspension_lag_s: of the springs
    behind a load; lift_m: rise of the body by the tyres' growth at `TyrePlan.LIFT_SPEED_MPS`.
    sensor_gain: role → what a sensor reads over the truth; sensor_zero: role → where its zero was set, in units of
    the plan's u of zeros.
    """

    mass_kg: float
    wheelbase_m: float
    front_weight: float
    cg_height_m: float
    driveline_drag_n: float
    driveline_drag_n_per_mps: float
    rolling_c0: float
    rolling_c1_s_per_m: float
    axle_inertia_kgm2: tuple[float, float]
    tyre_radius_m: tuple[float, float]
    tyre_rate_n_per_m: tuple[float, float]
    sensor_x_m: tuple[float, float]
    axles: tuple[Axle, Axle]
    springs: tuple[AxleSpring, AxleSpring]
    rate_error: tuple[float, float]
    joint_friction_n: tuple[float, float]
    pushrod_ratio: tuple[float, float]
    driven: tuple[float, float]
    anti_squat: float
    suspension_lag_s: float
    lift_m: float
    sensor_gain: Mapping[str, float]
    sensor_zero: Mapping[str, float]

    @property
    def rotating_mass_kg(self) -> float:
        """Σ J/r² [kg]."""
        return sum(j / r**2 for j, r in zip(self.axle_inertia_kgm2, self.tyre_radius_m, strict=True))

    @property
    def spin_kg_m(self) -> float:
        """Σ J/r [kg m]."""
        return sum(j / r for j, r in zip(self.axle_inertia_kgm2, self.tyre_radius_m, strict=True))

    def wheel_travel(self, axle: int, spring_load_n: FloatArray) -> FloatArray:
        """Wheel travel [m] of axle 0 or 1 under a load on its springs [N]."""
        return self.springs[axle].travel(spring_load_n / (1.0 + self.rate_error[axle]))

    def link(self, axle: int) -> float:
        """What a newton of drive adds to the spring load of an axle past its load at the ground: ∓ s h/L [–].

        Anti-squat lifts a driven rear axle's springs, the same geometry at a driven front axle loads them.
        """
        side = (1.0, -1.0)[axle]
        return side * self.driven[axle] * self.anti_squat * self.cg_height_m / self.wheelbase_m


def draw_car(plan: SimulationPlan, draw: Draw) -> TrueCar:
    """The true car of one day. Order of draws is fixed."""
    car, axles = plan.car, (plan.car.front, plan.car.rear)
    springs = stated_springs(car, plan.runs[0].driver_mass_kg.value)
    gains = {role: _gain_u(car, role) for role in SUSPENSION_ROLES}
    return TrueCar(
        mass_kg=draw.positive(car.mass_kg),
        wheelbase_m=draw.positive(car.wheelbase_m),
        front_weight=draw.positive(car.front_weight),
        cg_height_m=draw.positive(car.cg_height_m),
        driveline_drag_n=draw.non_negative(car.driveline_drag_n),
        driveline_drag_n_per_mps=draw.non_negative(car.driveline_drag_n_per_mps),
        rolling_c0=draw.positive(car.rolling_c0),
        rolling_c1_s_per_m=draw.non_negative(car.rolling_c1_s_per_m),
        axle_inertia_kgm2=_pair([draw.positive(q.axle_inertia_kgm2) for q in axles]),
        tyre_radius_m=_pair([draw.positive(q.tyre_radius_m) for q in axles]),
        tyre_rate_n_per_m=_pair([draw.positive(q.tyre_rate_n_per_m) for q in axles]),
        sensor_x_m=_pair([draw.normal(q.ride_height_sensor_x_m) for q in axles]),
        axles=axles,
        springs=springs,
        rate_error=_pair([draw.normal(Quantity(0.0, spring.rel_u)) for spring in springs]),
        joint_friction_n=_pair([draw.non_negative(q.joint_friction_n) for q in axles]),
        pushrod_ratio=_pair([draw.positive(q.pushrod_ratio or UNSTATED_ROD_RATIO) for q in axles]),
        driven={"front": (1.0, 0.0), "rear": (0.0, 1.0), "all": (0.5, 0.5)}[car.driven],
        anti_squat=draw.normal(car.anti_squat),
        suspension_lag_s=draw.positive(plan.instruments.suspension_lag_s),
        lift_m=draw.non_negative(plan.tyres.lift_m),
        sensor_gain={role: 1.0 + draw.normal(Quantity(0.0, u)) for role, u in gains.items()},
        sensor_zero={role: draw.noise() for role in gains},
    )


def stated_springs(car: Car, driver_kg: float) -> tuple[AxleSpring, AxleSpring]:
    """Spring curves of both axles as stated; an axle of which nothing is stated has a usual spring."""
    weight = (car.mass_kg.value + driver_kg) * STANDARD_GRAVITY
    share = car.front_weight.value
    found = []
    for axle, part in ((car.front, share), (car.rear, 1.0 - share)):
        spring = axle_spring(axle, weight * part)
        usual = replace(axle, spring_rate_n_per_m=UNSTATED_SPRING)
        found.append(spring or axle_spring(usual, weight * part))
    if found[0] is None or found[1] is None:
        raise ValueError("car: an axle with a spring rate has no spring")
    return found[0], found[1]


def _gain_u(car: Car, role: str) -> float:
    """Relative u of a sensor: that of its calibration; a ride-height sensor without one has its maker's word."""
    if role in car.calibration:
        return car.calibration[role].slope_rel_u
    return HEIGHT_GAIN_REL_U if role.startswith("ride_height") else 0.0


def _pair(values: Sequence[float]) -> tuple[float, float]:
    if not all(math.isfinite(value) for value in values):
        raise ValueError("car: a drawn value is not finite")
    return values[0], values[1]
