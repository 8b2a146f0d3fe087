"""Axle loads of a driven run, what reaches its springs, and what the sensors would read without any error.

    F_front = ½ρU² SCz_front − [ m (dv/dt + g γ) h + (ΣJ_axle/r_axle) dv/dt ] / L
    F_rear  = ½ρU² SCz_rear  + [ the same ] / L
    P       = F + link · drive, late by the suspension's lag, through joints with Coulomb friction

    damper travel = ∫ MR dz to the wheel travel z(P)
    sink          = z(P) + F/(2 K_tyre) − lift (v/v_lift)²
    push rod      = ½ P / ratio

Drive acts through the anti-squat geometry of the driven axle (link), when a speed is held and when the car
starts; anti-dive geometry is left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from server.aero.axle_loads import axle_load_change, load_transfer
from server.aero.joints import load_through_joints
from server.analysis.axle_spring import damper_of_wheel
from server.analysis.simulate_car import TrueCar
from server.analysis.simulate_drive import Drive
from server.analysis.simulate_motion import STEP_S
from server.analysis.simulate_reference import sink
from server.testday.values import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class AxleLoad:
    """One axle over a run, arrays of shape (n,): load at the ground and on the springs, away from standing [N],
    wheel travel and sink of the body over the axle since standing [m]."""

    load_n: FloatArray
    spring_load_n: FloatArray
    wheel_travel_m: FloatArray
    sink_m: FloatArray


def axle_loads(drive: Drive, car: TrueCar, gravity_mps2: float) -> tuple[FloatArray, FloatArray]:
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
    return axle_load_change(drive.density_kgm3, drive.air_speed_mps, drive.scz_front_m2, drive.scz_rear_m2, moved)


def suspension_of(drive: Drive, car: TrueCar, gravity_mps2: float) -> tuple[AxleLoad, AxleLoad]:
    """Front and rear axle of a driven run."""
    found = []
    for axle, load in enumerate(axle_loads(drive, car, gravity_mps2)):
        held = spring_load(load, car, axle, np.maximum(drive.thrust_n, 0.0))
        below = sink(car, axle, load, held, drive.speed_mps)
        found.append(AxleLoad(load, held, car.wheel_travel(axle, held), below))
    return found[0], found[1]


def spring_load(load_n: FloatArray, car: TrueCar, axle: int, drive_n: FloatArray) -> FloatArray:
    """What the springs of axle 0 or 1 carry of its load [N]: links past them, late, through the joints."""
    wanted = load_n + car.link(axle) * drive_n
    keep = math.exp(-STEP_S / car.suspension_lag_s)
    late, _ = lfilter([1.0 - keep], [1.0, -keep], wanted, zi=[keep * wanted[0]])
    return load_through_joints(late, car.joint_friction_n[axle])


def damper_travel(car: TrueCar, axle: int, wheel_travel_m: FloatArray) -> FloatArray:
    """Damper travel [m], positive in bump, of axle 0 or 1."""
    return damper_of_wheel(car.axles[axle], wheel_travel_m)


def pushrod_load(car: TrueCar, axle: int, spring_load_n: FloatArray) -> FloatArray:
    """Load in one push rod [N], positive in bump, away from the standing car."""
    return 0.5 * spring_load_n / car.pushrod_ratio[axle]


def ride_heights(
    sinks_m: tuple[FloatArray, FloatArray], car: TrueCar, static_m: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Ride height at the front and the rear sensor [m]; sensors sit `sensor_x_m` ahead of their axle.

    The floor is a straight line through the heights over the axles (lever rule).
    """
    over = [static_m[axle] - below for axle, below in enumerate(sinks_m)]
    rake = (over[0] - over[1]) / car.wheelbase_m
    return over[0] + rake * car.sensor_x_m[0], over[1] + rake * car.sensor_x_m[1]
