"""How long a straight one coast-down takes: accelerate, coast, brake, on the level, with a steady wind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from server.aero.road_load import RoadLoadCar, Surroundings, resistance_forces
from server.analysis.simulate_plan import DriverPlan, RunPlan, SetupPlan, SimulationPlan
from server.analysis.simulate_truth import density_at
from server.testday.values import Car, FloatArray

LEAST_SLOWING_MPS2 = 0.02


@dataclass(frozen=True, slots=True)
class TripLengths:
    """Lengths [m] of the parts of one trip and the time of its coast-down [s]."""

    accelerate_m: float
    coast_m: float
    brake_m: float
    coast_s: float

    @property
    def total_m(self) -> float:
        """From standing to standing [m]."""
        return self.accelerate_m + self.coast_m + self.brake_m


def trip_lengths(plan: SimulationPlan, run: RunPlan, head_mps: float = 0.0) -> TripLengths:
    """The longest coast-down trip of a run, from the stated values; head_mps: steady wind against the car [m/s].

    coast: s = ∫ m_e v / F(v) dv, t = ∫ m_e / F(v) dv; accelerate: the same with power and grip less F.
    Raises ValueError for a run without a coast-down.
    """
    if not run.directions:
        raise ValueError(f"run: run {run.number} has no coast-down")
    mass_e, resistance = _resistance(plan, run, head_mps)
    high = max(pair[0] for pair in run.speeds())
    low = min(pair[1] for pair in run.speeds())
    coasting = np.linspace(low, high, 400)
    return TripLengths(
        accelerate_m=_accelerate_length(plan, run, high, head_mps),
        coast_m=float(np.trapezoid(mass_e * coasting / resistance(coasting), coasting)),
        brake_m=brake_length(plan.driver, low),
        coast_s=float(np.trapezoid(mass_e / resistance(coasting), coasting)),
    )


def coast_down_times(
    plan: SimulationPlan, run: RunPlan, points: int = 400, head_mps: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Speeds of a run's first coast-down [m/s] and the time spent at each [s], dt = m_e dv / F(v), (points,)."""
    high, low = run.speeds()[0]
    mass_e, resistance = _resistance(plan, run, head_mps)
    edges = np.linspace(low, high, points + 1)
    speed = 0.5 * (edges[1:] + edges[:-1])
    return speed, mass_e * np.diff(edges) / resistance(speed)


def longest_trip(plan: SimulationPlan, run: RunPlan, head_mps: float = 0.0) -> float:
    """Length of the longest trip of a run from standing to standing, coast-down or held speed [m]."""
    trips = [trip_lengths(plan, run, head_mps).total_m] if run.directions else []
    for held in run.steady:
        way = _accelerate_length(plan, run, held.speed_mps, head_mps) + held.speed_mps * held.hold_s
        trips.append(way + brake_length(plan.driver, held.speed_mps))
    return max(trips)


def _accelerate_length(plan: SimulationPlan, run: RunPlan, speed_mps: float, head_mps: float) -> float:
    """From standing to a speed [m]."""
    mass_e, resistance = _resistance(plan, run, head_mps)
    mass = plan.car.mass_kg.value + run.driver_mass_kg.value
    speeds = np.linspace(0.0, speed_mps, 400)
    thrust = np.minimum(mass * plan.driver.grip_mps2, plan.driver.power_w / np.maximum(speeds, 1.0))
    spare = np.maximum(thrust - resistance(speeds), 0.02 * mass)
    return float(np.trapezoid(mass_e * speeds / spare, speeds))


def _resistance(
    plan: SimulationPlan, run: RunPlan, head_mps: float
) -> tuple[float, Callable[[FloatArray], FloatArray]]:
    """Mass with the rotating parts [kg] and resistance over speed [N] of a run, on the level."""
    setup = next(s for s in plan.setups if s.setup.name == run.setup)
    mass = plan.car.mass_kg.value + run.driver_mass_kg.value
    density = density_at(plan.weather, run.start_clock_s, (0.0, 0.0, 0.0))
    car = _stated_car(plan.car, setup, mass)
    air = Surroundings(density, head_wind_mps=head_mps, gravity_mps2=plan.gravity_mps2)
    least = LEAST_SLOWING_MPS2 * mass  # a strong wind from behind would push the car on for ever
    return mass + rotating_mass(plan.car), lambda v: np.maximum(resistance_forces(v, car, air).total_n, least)


def brake_length(driver: DriverPlan, speed_mps: float) -> float:
    """v² / (2 a) and 0.3 s until the brake bites [m]."""
    return speed_mps**2 / (2.0 * driver.brake_mps2) + 0.3 * speed_mps


def rotating_mass(car: Car) -> float:
    """Σ J/r² of the stated car [kg]."""
    return sum(axle.axle_inertia_kgm2.value / axle.tyre_radius_m.value**2 for axle in (car.front, car.rear))


def _stated_car(car: Car, setup: SetupPlan, mass_kg: float) -> RoadLoadCar:
    return RoadLoadCar(
        mass_kg=mass_kg,
        effective_mass_kg=mass_kg + rotating_mass(car),
        drag_area_m2=setup.scx_m2.value,
        c0=car.rolling_c0.value,
        downforce_area_m2=setup.scz_front_m2.value + setup.scz_rear_m2.value,
        c1_s_per_m=car.rolling_c1_s_per_m.value,
        driveline_drag_n=car.driveline_drag_n.value,
        driveline_drag_n_per_mps=car.driveline_drag_n_per_mps.value,
    )
