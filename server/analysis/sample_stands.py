"""Made-up tests of the standing car: the driven wheels run down on stands, a known mass over the rear axle.

spin-down:  J/r² dv/dt = −(T0 + T1 v),   v(t) = (v0 + T0/T1) e^(−T1 r² t/J) − T0/T1
loading:    spring load = share · m g ± what the joints still hold after the car was bounced
"""

from __future__ import annotations

import numpy as np

from server.analysis.sample_logs import Column, LogStyle, Piece, log_bytes
from server.analysis.simulate_car import TrueCar
from server.analysis.simulate_loads import damper_travel
from server.analysis.simulate_reference import sink
from server.testday.values import FloatArray, Signal

SPIN_LOG, LOADING_LOG = "logs/rear wheels on stands.csv", "logs/rear axle loaded.csv"
START_MPS, DRIVEN_S, STAND_S = 25.0, 3.0, 32.0
LOAD_KG, LOAD_SHARE = 60.3, 0.985
BARE_UNTIL_S, LOADED_FROM_S, LOADING_S = 14.0, 20.0, 34.0
LEFT_IN_JOINTS = 0.25  # of their friction, after bouncing
REAR = 1
STATIC_REAR_M = 0.038
GRAVITY_MPS2 = 9.80665

STANDS_TOML = f"""# Driven wheels on stands, inverter off, let run down from 90 km/h: the driveline drag T0 + T1 v.
[[spin_downs]]
log = "{SPIN_LOG}"
notes = "Made up like all the rest. Car strapped down on its stands, guards on, nobody beside the wheels."

[spin_downs.channels]
wheel_speed_rl = "v rear left"
wheel_speed_rr = "v rear right"

# Sand bags over the rear axle, the car bounced before each reading: the wheel rate.
[[axle_loadings]]
axle = "rear"
mass_kg = 60.0
mass_u_kg = 0.3
share = 0.98                     # they sat a little ahead of the axle
share_u = 0.01
log = "{LOADING_LOG}"
bare_from_s = 2
bare_to_s = 13
loaded_from_s = 22
loaded_to_s = 33
"""


def spin_down_log(car: TrueCar, style: LogStyle, seed: int) -> bytes:
    """The log of the spin-down, 50 Hz: held for three seconds, then let go."""
    rng = np.random.default_rng(seed)
    time = np.round(np.arange(0.0, STAND_S, 0.02), 3)
    mass = car.axle_inertia_kgm2[REAR] / car.tyre_radius_m[REAR] ** 2
    t0, t1 = car.driveline_drag_n, car.driveline_drag_n_per_mps
    falling = (START_MPS + t0 / t1) * np.exp(-t1 / mass * np.maximum(time - DRIVEN_S, 0.0)) - t0 / t1
    speed = np.maximum(falling, 0.0)
    signals = {
        role: Signal(time, np.where(speed > 0.0, np.maximum(speed + 0.015 * rng.standard_normal(len(time)), 0.0), 0.0))
        for role in ("wheel_speed_rl", "wheel_speed_rr")
    }
    columns = [
        Column("v rear left", "km/h", "wheel_speed_rl", 3.6),
        Column("v rear right", "km/h", "wheel_speed_rr", 3.6),
    ]
    return log_bytes([Piece(signals, 0.0)], columns, style)


def loading_log(car: TrueCar, style: LogStyle, columns: list[Column], seed: int) -> bytes:
    """The log of the loading, 10 Hz; columns: those of the rear dampers and ride height."""
    rng = np.random.default_rng(seed)
    time = np.round(np.arange(0.0, LOADING_S, 0.1), 3)
    load = _load(time)
    left = LEFT_IN_JOINTS * 2.0 * car.joint_friction_n[REAR]
    springs = load + left * np.where(time < BARE_UNTIL_S, -1.0, 1.0) + _bouncing(time)
    below = sink(car, REAR, load, springs, np.zeros_like(time))
    travel = damper_travel(car, REAR, car.wheel_travel(REAR, springs))

    def read(values: FloatArray, zero: float, noise: float) -> Signal:
        return Signal(time, values + zero + noise * rng.standard_normal(len(time)))

    signals = {
        "damper_rl": read(travel, 0.0007, 2e-5),
        "damper_rr": read(travel, -0.0011, 2e-5),
        "ride_height_rear": read(STATIC_REAR_M - below, 0.0001, 5e-5),
    }
    return log_bytes([Piece(signals, 0.0)], columns, style)


def _load(time_s: FloatArray) -> FloatArray:
    """Bags are put on one by one from 14 to 18 s."""
    put_on = np.clip(np.ceil((time_s - BARE_UNTIL_S) / 1.0), 0.0, 4.0) / 4.0
    return np.asarray(LOAD_KG * LOAD_SHARE * GRAVITY_MPS2 * put_on)


def _bouncing(time_s: FloatArray) -> FloatArray:
    """Somebody bounces the car before each reading [N]."""
    push = np.zeros_like(time_s)
    for until in (1.5, LOADED_FROM_S + 0.5):
        on = (time_s > until - 1.5) & (time_s < until)
        push[on] = 150.0 * np.sin(2.0 * np.pi * 1.5 * (time_s[on] - until + 1.5))
    return push
