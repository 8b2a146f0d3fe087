"""What suspension sensors log of a driven run: their gains, zeros, rates and the road's roughness."""

from __future__ import annotations

import numpy as np

from server.analysis.simulate_drive import Drive, sample_times
from server.analysis.simulate_loads import AxleLoad, damper_travel, pushrod_load, ride_heights, suspension_of
from server.analysis.simulate_plan import SimulationPlan
from server.analysis.simulate_truth import TrueDay, ornstein_uhlenbeck
from server.testday.values import FloatArray, Signal

ROAD_S = 0.06
FULL_ROUGHNESS_MPS = 15.0
UNSTATED_HEIGHT_M = 0.035
AXLES = tuple(enumerate("fr"))


def suspension_signals(
    drive: Drive, plan: SimulationPlan, truth: TrueDay, setup: str, rng: np.random.Generator
) -> dict[str, Signal]:
    """Role → signal of every suspension sensor that the plan has. Left and right differ by zero and road alone."""
    instruments, car = plan.instruments, truth.car
    if not max(instruments.damper_rate_hz, instruments.ride_height_rate_hz, instruments.pushrod_rate_hz) > 0.0:
        return {}
    axles = suspension_of(drive, car, plan.gravity_mps2)
    clean = {
        "damper": {e: damper_travel(car, k, axles[k].wheel_travel_m) for k, e in AXLES},
        "pushrod_load": {e: pushrod_load(car, k, axles[k].spring_load_n) for k, e in AXLES},
    }
    corners = {
        stem: {f"{stem}_{e}{side}": values for e, values in ends.items() for side in "lr"}
        for stem, ends in clean.items()
    }
    heights = _heights(plan, truth, setup, axles)
    signals: dict[str, Signal] = {}
    for rate, zero_u, rough, found in (
        (instruments.damper_rate_hz, instruments.damper_zero_u_m, instruments.damper_noise_m, corners["damper"]),
        (instruments.ride_height_rate_hz, instruments.ride_height_zero_u_m, instruments.ride_height_noise_m, heights),
        (
            instruments.pushrod_rate_hz,
            instruments.pushrod_zero_u_n,
            instruments.pushrod_noise_n,
            corners["pushrod_load"],
        ),
    ):
        if rate > 0.0:
            time = sample_times(drive, rate)
            for role, values in found.items():
                read = car.sensor_gain[role] * np.interp(time, drive.time_s, values)
                moved = instruments.zero_moves_rel * float(rng.standard_normal())
                zero = zero_u * (car.sensor_zero[role] + moved)
                signals[role] = Signal(time, read + zero + rough * _road(drive, time, rng))
    return signals


def static_heights(plan: SimulationPlan, setup: str) -> tuple[float, float]:
    """Ride heights of the standing car over the axles [m]."""
    stated = next(planned.setup for planned in plan.setups if planned.setup.name == setup)
    front, rear = stated.front_ride_height_m, stated.rear_ride_height_m
    return (UNSTATED_HEIGHT_M if front is None else front), (UNSTATED_HEIGHT_M if rear is None else rear)


def _heights(
    plan: SimulationPlan, truth: TrueDay, setup: str, axles: tuple[AxleLoad, AxleLoad]
) -> dict[str, FloatArray]:
    front, rear = ride_heights((axles[0].sink_m, axles[1].sink_m), truth.car, static_heights(plan, setup))
    return {"ride_height_front": front, "ride_height_rear": rear}


def _road(drive: Drive, time_s: FloatArray, rng: np.random.Generator) -> FloatArray:
    """The road's roughness as a sensor sees it, of unit size at 15 m/s."""
    moving = np.clip(np.interp(time_s, drive.time_s, drive.speed_mps) / FULL_ROUGHNESS_MPS, 0.0, 1.5)
    return np.asarray(moving * ornstein_uhlenbeck(len(time_s), time_s[1] - time_s[0], 1.0, ROAD_S, rng))
