"""Where a simulated car rides at the reference condition, and what its areas are there and elsewhere.

Steady at the reference speed in still air of the day's mean density, on the level:

    F = ½ρv² SCz,   P = F + link · resistance,   sink = z(P) + F/(2 K_tyre) − lift (v/v_lift)²
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from server.aero.air import air_density
from server.aero.road_load import RoadLoadCar, Surroundings, dynamic_pressure, resistance_forces
from server.aero.tyres import radius_growth
from server.analysis.simulate_car import TrueCar
from server.analysis.simulate_plan import LIFT_SPEED_MPS, SimulationPlan
from server.testday.values import FloatArray


@dataclass(frozen=True, slots=True)
class TrueAreas:
    """True areas of a setup at the reference condition [m²].

    bend: relative change of an axle's SCz per metre that the body sinks over it [1/m]; sink: how far it has come
    down there at the reference condition since standing [m]; mass_kg: as run there.
    """

    scx_m2: float
    scz_front_m2: float
    scz_rear_m2: float
    bend_front_per_m: float = 0.0
    bend_rear_per_m: float = 0.0
    sink_front_m: float = 0.0
    sink_rear_m: float = 0.0
    mass_kg: float = 0.0


def areas_at_reference(plan: SimulationPlan, car: TrueCar, areas: TrueAreas, mass_kg: float) -> TrueAreas:
    """The areas with the sinks of the reference condition."""
    v, density = plan.reference_speed_mps, reference_density(plan)
    q = float(dynamic_pressure(density, v))
    drive = _steady_resistance(plan, car, areas, mass_kg)
    sinks = []
    for axle, area in enumerate((areas.scz_front_m2, areas.scz_rear_m2)):
        load = np.array([q * area])
        sinks.append(float(sink(car, axle, load, load + car.link(axle) * drive, np.array([v]))[0]))
    return replace(areas, sink_front_m=sinks[0], sink_rear_m=sinks[1], mass_kg=mass_kg)


def sink(car: TrueCar, axle: int, load_n: FloatArray, spring_load_n: FloatArray, speed_mps: FloatArray) -> FloatArray:
    """How far the body has come down over axle 0 or 1 since standing [m]; arrays of shape (n,)."""
    tyres = load_n / (2.0 * car.tyre_rate_n_per_m[axle])
    grown = radius_growth(speed_mps, car.lift_m, LIFT_SPEED_MPS)
    return np.asarray(car.wheel_travel(axle, spring_load_n) + tyres - grown)


def reference_density(plan: SimulationPlan) -> float:
    """Mean air density of the day's readings as stated [kg/m³]."""
    readings = [r for r in plan.weather if r.clock_s is not None] or list(plan.weather)
    return float(np.mean([air_density(r.pressure_pa.value, r.temperature_k.value, r.humidity.value) for r in readings]))


def _steady_resistance(plan: SimulationPlan, car: TrueCar, areas: TrueAreas, mass_kg: float) -> float:
    road = RoadLoadCar(
        mass_kg=mass_kg,
        effective_mass_kg=mass_kg + car.rotating_mass_kg,
        drag_area_m2=areas.scx_m2,
        c0=car.rolling_c0,
        downforce_area_m2=areas.scz_front_m2 + areas.scz_rear_m2,
        c1_s_per_m=car.rolling_c1_s_per_m,
        driveline_drag_n=car.driveline_drag_n,
        driveline_drag_n_per_mps=car.driveline_drag_n_per_mps,
    )
    air = Surroundings(reference_density(plan), gravity_mps2=plan.gravity_mps2)
    return float(resistance_forces(plan.reference_speed_mps, road, air).total_n)
