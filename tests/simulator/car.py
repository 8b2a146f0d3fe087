"""The car of the day: what its file states beside what is true."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.testday.values import Axle, Car, Quantity, Setup, Source
from tests.simulator.scenario import Scenario
from tests.simulator.stated import Drawer, Known

GRAVITY = 9.80665
NOMINAL_MASS_KG = 300.0
WHEEL_RATE_REL_U = 0.01
STATIC_HEIGHTS_M = (0.034, 0.038)
STANDING_U_M = 3e-4  # of a ride height that a hand measures (common practice, no source)
# Stated where nothing is given: (value, u)
DEFAULTS = {
    "c0": (0.018, 0.006),
    "c1": (0.00018, 0.00009),
    "T0": (5.0, 4.0),
    "T1": (0.25, 0.20),
    "inertia": (0.40, 0.12),
    "radius": (0.230, 0.00345),
    "SCz": (1.5, 1.0),
}


NO_ANTI_SQUAT = Known(Quantity(0.0, 0.0, "typed"), 0.0)


@dataclass(frozen=True, slots=True)
class Resistance:
    """Rolling c0 [–], c1 [s/m]; driveline T0 [N], T1 [N s/m]."""

    c0: Known
    c1: Known
    T0: Known
    T1: Known

    def linear_z(self, mass_kg: float) -> float:
        """Linear resistance c1·m·g + T1 off its stated value, in its stated u."""
        weight = mass_kg * GRAVITY
        off = (self.c1.true - self.c1.stated.value) * weight + self.T1.true - self.T1.stated.value
        return off / float(np.hypot(self.c1.stated.u * weight, self.T1.stated.u))


@dataclass(frozen=True, slots=True)
class AxleDraw:
    """One axle: inertia of both wheels, rolling radius at rest, one corner's spring and tyre.

    lift_per_mps2: growth of the tyres' loaded radius over v² [m/(m/s)²].
    """

    inertia: Known
    radius: Known
    spring_rate: Known
    motion_ratio: Known
    tyre_rate: Known
    sensor_x: Known
    pushrod_ratio: Known | None = None
    lift_per_mps2: float = 0.0

    @property
    def wheel_rate_n_per_m(self) -> float:
        """True rate of the axle at the wheels, 2·k·MR² [N/m]."""
        return 2.0 * self.spring_rate.true * self.motion_ratio.true**2

    @property
    def ride_rate_n_per_m(self) -> float:
        """Wheel rate in series with both tyres [N/m]."""
        return 1.0 / (1.0 / self.wheel_rate_n_per_m + 0.5 / self.tyre_rate.true)


@dataclass(frozen=True, slots=True)
class CarDraw:
    """Everything of the car that a setup does not change. yaw_factor: k_β [1/rad²]."""

    mass: Known
    wheelbase: Known
    front_weight: Known
    cg_height: Known
    resistance: Resistance
    front: AxleDraw
    rear: AxleDraw
    yaw_factor: float
    anti_squat: Known = NO_ANTI_SQUAT

    @property
    def rotating_mass_kg(self) -> float:
        """Σ J/r² [kg]."""
        return sum(a.inertia.true / a.radius.true**2 for a in (self.front, self.rear))

    @property
    def spin_momentum_kgm(self) -> float:
        """Σ J/r [kg m]."""
        return sum(a.inertia.true / a.radius.true for a in (self.front, self.rear))


@dataclass(frozen=True, slots=True)
class SetupDraw:
    """A setup's true areas [m²] and what is stated of its downforce."""

    name: str
    scx: float
    scz_front: Known
    scz_rear: Known


def draw_resistance(drawer: Drawer, scenario: Scenario) -> Resistance:
    """Redrawn until |linear_z| > 1 on a corner day."""
    while True:
        drawn = _given_resistance(drawer) if scenario.priors == "given" else _default_resistance(drawer)
        if not scenario.linear_corner or abs(drawn.linear_z(NOMINAL_MASS_KG)) > 1.0:
            return drawn


def _given_resistance(drawer: Drawer) -> Resistance:
    c0 = drawer.uniform(0.012, 0.026, 0.018)
    c1 = c0 * drawer.uniform(0.004, 0.014, 0.010)
    T0, T1 = drawer.uniform(2.0, 10.0, 5.0), drawer.uniform(0.1, 0.45, 0.25)
    return Resistance(
        drawer.known(c0, 0.15 * c0, 0.005),
        drawer.known(c1, 0.30 * c1, 0.0),
        drawer.known(T0, 0.30 * T0, 0.0),
        drawer.known(T1, 0.30 * T1, 0.0),
    )


def _default_resistance(drawer: Drawer) -> Resistance:
    floors = {"c0": 0.005, "c1": 0.0, "T0": 0.0, "T1": 0.0}
    return Resistance(**{k: drawer.known(*DEFAULTS[k], low, "default") for k, low in floors.items()})


def draw_axle(drawer: Drawer, scenario: Scenario) -> AxleDraw:
    if scenario.priors == "given":
        inertia, radius = drawer.uniform(0.28, 0.50, 0.40), drawer.uniform(0.22, 0.24, 0.23)
        spin = drawer.known(inertia, 0.05 * inertia, 0.1)
        size = drawer.known(radius, 0.01 * radius, 0.2)
    else:
        spin = drawer.known(*DEFAULTS["inertia"], 0.1, "default")
        size = drawer.known(*DEFAULTS["radius"], 0.2, "default")
    spring, ratio = drawer.uniform(25e3, 55e3, 39e3), drawer.uniform(0.8, 1.1, 0.92)
    tyre = drawer.uniform(80e3, 110e3, 92e3)
    return AxleDraw(
        inertia=spin,
        radius=size,
        spring_rate=drawer.known(spring, WHEEL_RATE_REL_U * spring),
        motion_ratio=_exact(ratio),
        tyre_rate=drawer.known(tyre, 0.10 * tyre, 40e3),
        sensor_x=_exact(drawer.uniform(-0.1, 0.1, 0.0)),
    )


def _exact(value: float) -> Known:
    return Known(Quantity(value), value)


def draw_car(rng: np.random.Generator, scenario: Scenario) -> CarDraw:
    drawer = Drawer(rng, scenario.fixed_truth)
    mass, height = drawer.uniform(180.0, 260.0, 230.0), drawer.uniform(0.26, 0.32, 0.285)
    return CarDraw(
        mass=drawer.known(mass, 0.7, 100.0),
        wheelbase=drawer.known(drawer.uniform(1.53, 1.66, 1.54), 0.003),
        front_weight=drawer.known(drawer.uniform(0.44, 0.52, 0.475), 0.004),
        cg_height=drawer.known(height, scenario.cg_height_u_m, 0.15),
        resistance=draw_resistance(drawer, scenario),
        front=draw_axle(drawer, scenario),
        rear=draw_axle(drawer, scenario),
        yaw_factor=drawer.uniform(0.0, 3.0, 1.5),
    )


def draw_setups(rng: np.random.Generator, scenario: Scenario) -> tuple[SetupDraw, ...]:
    """Setups A, B, C; B and C differ from A by up to ± 12 % in drag and ± 20 % in downforce."""
    drawer = Drawer(rng, scenario.fixed_truth)
    scx = drawer.uniform(0.9, 1.9, 1.45)
    total, share = drawer.uniform(*scenario.downforce_m2, 3.5), drawer.uniform(0.35, 0.55, 0.457)
    setups = []
    for k, name in enumerate("ABC"[: scenario.setups]):
        drag = scx if k == 0 else float(np.clip(scx * (1.0 + rng.uniform(-0.12, 0.12)), 0.9, 1.9))
        load = total if k == 0 else total * (1.0 + rng.uniform(-0.2, 0.2))
        front, rear = (_downforce(drawer, scenario, load * part) for part in (share, 1.0 - share))
        setups.append(SetupDraw(name, drag, front, rear))
    return tuple(setups)


def _downforce(drawer: Drawer, scenario: Scenario, area_m2: float) -> Known:
    if scenario.priors == "none":
        return drawer.known(*DEFAULTS["SCz"], 0.0, "default")
    return drawer.known(area_m2, float(np.hypot(0.10 * area_m2, 0.02)), 0.0)


def stated_car(car: CarDraw, scenario: Scenario) -> Car:
    """The car as the day's file states it; springs only where dampers are logged."""
    r = car.resistance
    return Car(
        name="simulated car",
        mass_kg=car.mass.stated,
        wheelbase_m=car.wheelbase.stated,
        front_weight=car.front_weight.stated,
        cg_height_m=car.cg_height.stated,
        driveline_drag_n=r.T0.stated,
        driveline_drag_n_per_mps=r.T1.stated,
        rolling_c0=r.c0.stated,
        rolling_c1_s_per_m=r.c1.stated,
        front=_stated_axle(car.front, scenario),
        rear=_stated_axle(car.rear, scenario),
        driven="rear",
        anti_squat=car.anti_squat.stated,
    )


def _stated_axle(axle: AxleDraw, scenario: Scenario) -> Axle:
    wheels = {"axle_inertia_kgm2": axle.inertia.stated, "tyre_radius_m": axle.radius.stated}
    if not scenario.dampers:
        return Axle(**wheels)
    return Axle(
        **wheels,
        spring_rate_n_per_m=Quantity(axle.spring_rate.stated.value),  # its u is the wheel rate's
        motion_ratio=axle.motion_ratio.stated,
        wheel_rate_rel_u=WHEEL_RATE_REL_U,
        tyre_rate_n_per_m=axle.tyre_rate.stated,
        ride_height_sensor_x_m=axle.sensor_x.stated,
        pushrod_ratio=axle.pushrod_ratio.stated if axle.pushrod_ratio else None,
    )


def stated_setup(setup: SetupDraw, rng: np.random.Generator) -> Setup:
    """The setup as the day's file has it; the standing ride heights as a hand measures them."""
    front, rear = (true + STANDING_U_M * rng.standard_normal() for true in STATIC_HEIGHTS_M)
    source: Source = setup.scz_front.stated.source
    return Setup(
        name=setup.name,
        baseline=None if setup.name == "A" else "A",
        front_ride_height_m=front,
        rear_ride_height_m=rear,
        scz_front_m2=setup.scz_front.stated,
        scz_rear_m2=setup.scz_rear.stated,
        notes=f"downforce {source}",
    )
