"""Axle loads of a driven run, and what dampers and ride-height sensors make of them.

    F_front = ½ρU² SCz_front − [ m (dv/dt + g γ) h + (ΣJ_axle/r_axle) dv/dt ] / L
    F_rear  = ½ρU² SCz_rear  + [ the same ] / L

    damper travel = MR (F_spring / K), K = 2 · spring rate · MR² per axle
    ride height   = static − F_spring / K − F / K_tyre

F_spring follows F through the Coulomb friction of the joints: it stays until F leaves a band of ± friction.
Drive and brake torques act at the ground; anti-squat and anti-dive geometry are left out.
"""

from __future__ import annotations

import numpy as np

from server.aero.axle_loads import axle_load_change, load_transfer
from server.analysis.simulate_drive import Drive
from server.analysis.simulate_motion import compiled
from server.analysis.simulate_plan import InstrumentPlan
from server.analysis.simulate_truth import TrueAreas, TrueCar
from server.testday.values import FloatArray


def axle_loads(
    drive: Drive, car: TrueCar, areas: TrueAreas, gravity_mps2: float
) -> tuple[FloatArray, FloatArray]:
    """Change of the front and the rear axle's load from static [N], positive down; shape (n,) each."""
    moved = load_transfer(
        drive.acceleration_mps2,
        drive.mass_kg,
        car.cg_height_m,
        car.wheelbase_m,
        axle_inertia_kgm2=car.axle_inertia_kgm2,
        tyre_radius_m=car.tyre_radius_m,
        grade=drive.grade,
        gravity_mps2=gravity_mps2,
    )
    return axle_load_change(
        drive.density_kgm3, drive.air_speed_mps, areas.scz_front_m2, areas.scz_rear_m2, moved
    )


def spring_load(load_n: FloatArray, friction_n: float) -> FloatArray:
    """What reaches the springs through joints with Coulomb friction: a play of ± friction_n [N]."""
    return np.asarray(_play(np.ascontiguousarray(load_n, dtype=np.float64), friction_n))


def damper_travel(
    loads: tuple[FloatArray, FloatArray], car: TrueCar, instruments: InstrumentPlan, rng: np.random.Generator
) -> dict[str, FloatArray]:
    """Role → damper travel [m], positive in bump, with an arbitrary zero per corner."""
    travel: dict[str, FloatArray] = {}
    for axle, (front_or_rear, load) in enumerate(zip("fr", loads, strict=True)):
        wheel = spring_load(load, instruments.friction_n) / car.axle_rate_n_per_m[axle]
        for side in "lr":
            zero = instruments.damper_zero_u_m * float(rng.standard_normal())
            travel[f"damper_{front_or_rear}{side}"] = car.motion_ratio[axle] * wheel + zero
    return travel


def ride_heights(
    loads: tuple[FloatArray, FloatArray],
    car: TrueCar,
    static_m: tuple[float, float],
    sensor_x_m: tuple[float, float],
    friction_n: float,
) -> tuple[FloatArray, FloatArray]:
    """Ride height at the front and the rear sensor [m]; sensors sit sensor_x_m ahead of their axle.

    The floor is a straight line through the heights over the axles (lever rule).
    """
    over = [
        static_m[axle]
        - spring_load(load, friction_n) / car.axle_rate_n_per_m[axle]
        - load / (2.0 * car.tyre_rate_n_per_m[axle])
        for axle, load in enumerate(loads)
    ]
    rake = (over[0] - over[1]) / car.wheelbase_m
    return over[0] + rake * sensor_x_m[0], over[1] + rake * sensor_x_m[1]


@compiled
def _play(load: FloatArray, band: float) -> FloatArray:
    held = np.empty_like(load)
    now = load[0]
    for k in range(load.shape[0]):
        now = min(max(now, load[k] - band), load[k] + band)
        held[k] = now
    return held
