"""What is true of a drawn day, under the names that a result uses."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from tests.simulator.car import GRAVITY, STATIC_HEIGHTS_M, SetupDraw
from tests.simulator.drive import DayDraw, TrueLeg, TrueRun
from tests.simulator.logger import Instruments
from tests.simulator.steady import REFERENCE_MPS, SteadyCar, bend_per_metre


def day_truth(draw: DayDraw, runs: Sequence[TrueRun], instruments: Instruments) -> dict[str, Any]:
    """`setups`: name → estimates by a result's names; beside it the day's own figures (SI, angles in rad).

    grade: mean over the stretch that was coasted, uphill travelling out. head_wind_out: slow wind averaged
    over the setup's coast-downs, positive against a car going out; head_wind_out_air: the same with gusts.
    Areas and ride heights are those at a steady 22 m/s in still air on the level, with the drive force that
    holds the speed; weight_speed: where downforce of that area equals the weight.
    """
    r, grade = draw.car.resistance, _mean_grade(draw, runs)
    shared = {"c0": r.c0.true, "c1": r.c1.true, "T0": r.T0.true, "T1": r.T1.true, "grade": grade}
    cross = [_coast(leg, "cross") for leg in _coast_downs(runs)]
    wheel = instruments.wheels[0] if instruments.wheels else None
    return {
        "setups": {
            name: _areas(s, r.c0.true) | shared | _winds(runs, name) | _reference(draw, s)
            for name, s in draw.setups.items()
        },
        **shared,
        "mass": draw.mass_kg,
        "rotating_mass": draw.car.rotating_mass_kg,
        "cg_height": draw.car.cg_height.true,
        "front_inertia": draw.car.front.inertia.true,
        "rear_inertia": draw.car.rear.inertia.true,
        "yaw_factor": draw.car.yaw_factor,
        "linear_z": r.linear_z(draw.mass_kg),
        "gust_sigma": draw.gusts.sigma_mps,
        "gust_time": draw.gusts.time_s,
        "gust_in_length": draw.gusts.in_length,
        "undulation_rms": float(np.std(draw.road.grade)),
        "density": [leg.inputs.density for run in runs for leg in run.legs],
        "wheel_scale": wheel.stated_radius_m / wheel.radius_m if wheel else None,
        "wheel_growth": wheel.growth if wheel else None,
        "satellite_delay": instruments.satellite.delay_s,
        "cross_wind": float(np.mean(np.concatenate(cross))),
        **_load_truth(draw, instruments),
    }


def _reference(draw: DayDraw, setup: SetupDraw) -> dict[str, float]:
    """Ride heights and the speed at which downforce equals the weight."""
    sinks = SteadyCar(draw.car, setup, draw.mass_kg, draw.density).sinks(REFERENCE_MPS)
    heights = {f"ride_height_{end}": STATIC_HEIGHTS_M[k] - sinks[k] for k, end in enumerate(("front", "rear"))}
    total = setup.scz_front.true + setup.scz_rear.true
    if total <= 0.0:
        return heights
    return heights | {"weight_speed": float(np.sqrt(2.0 * draw.mass_kg * GRAVITY / (draw.density * total)))}


def _load_truth(draw: DayDraw, instruments: Instruments) -> dict[str, Any]:
    """What belongs to axle loads; bend: of each setup and axle, relative change per metre of sink [1/m]."""
    car, loads = draw.car, instruments.loads
    steady = {n: SteadyCar(car, s, draw.mass_kg, draw.density) for n, s in draw.setups.items()}
    axles = {"front": car.front, "rear": car.rear}
    return {
        "bent": draw.scenario.bent,
        "bend": {n: list(bend_per_metre(s, draw.scenario)) for n, s in steady.items()},
        "reference_density": draw.density,
        "anti_squat": car.anti_squat.true,
        **{f"{n}_wheel_rate": a.wheel_rate_n_per_m for n, a in axles.items()},
        **{f"{n}_tyre_rate": a.tyre_rate.true for n, a in axles.items()},
        **{f"{n}_tyre_lift": a.lift_per_mps2 for n, a in axles.items()},
        **{f"{n}_sensor_x": a.sensor_x.true for n, a in axles.items()},
        **{f"{n}_pushrod_ratio": a.pushrod_ratio.true for n, a in axles.items() if a.pushrod_ratio},
        "friction": list(instruments.suspension.friction_n),
        "shaken": bool(loads and loads.joints.shake_n[0] > 0.0),
        "faults": loads.faults.told() if loads else {},
    }


def _areas(setup: SetupDraw, c0: float) -> dict[str, float]:
    front, rear = setup.scz_front.true, setup.scz_rear.true
    total = front + rear
    areas = {
        "SCx": setup.scx,
        "SCx_apparent": setup.scx + c0 * total,
        "SCz_front": front,
        "SCz_rear": rear,
        "SCz": total,
        "LD": total / setup.scx,
    }
    return areas | ({"balance_front": front / total} if total > 0.0 else {})


def _coast_downs(runs: Iterable[TrueRun]) -> list[TrueLeg]:
    """The legs that hold a coast-down."""
    return [leg for run in runs for leg in run.legs if leg.inputs.cruise == 0.0]


def _coast(leg: TrueLeg, name: str) -> np.ndarray:
    return leg.column(name)[leg.coasting]


def _winds(runs: Sequence[TrueRun], setup: str) -> dict[str, float]:
    slow, air = [], []
    for leg in _coast_downs(run for run in runs if run.plan.setup == setup):
        clock = (leg.time_s - leg.begins_s)[leg.coasting]
        slow.append(leg.inputs.slow_head + leg.inputs.slow_head_slope * clock)
        air.append(leg.inputs.direction * _coast(leg, "head"))
    return {
        "head_wind_out": float(np.mean(np.concatenate(slow))),
        "head_wind_out_air": float(np.mean(np.concatenate(air))),
    }


def _mean_grade(draw: DayDraw, runs: Sequence[TrueRun]) -> float:
    places = [_coast(leg, "s") for leg in _coast_downs(runs)]
    low, high = min(p.min() for p in places), max(p.max() for p in places)
    return float(np.mean(draw.road.at(np.linspace(low, high, 500))))
