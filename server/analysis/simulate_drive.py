"""One run driven along the straight: its trips, the driver's aim, and what came of it as arrays."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from server.analysis.simulate_car import TrueCar
from server.analysis.simulate_motion import COLUMNS, STEP_S, drive_leg
from server.analysis.simulate_numbers import (
    COASTING,
    HOLDING,
    RETURNING,
    AxleNumbers,
    BodyNumbers,
    CarNumbers,
    DriverNumbers,
    GustNumbers,
    LegNumbers,
    SlowWind,
    State,
)
from server.analysis.simulate_plan import LIFT_SPEED_MPS, RunPlan, SimulationPlan
from server.analysis.simulate_truth import TrueDay, density_at
from server.testday.values import FloatArray

LONGEST_LEG_S = 600.0
SPRING_LOADS = 2001


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """One run as it was driven, every `STEP_S`; arrays of shape (n,), SI.

    time_s from the start of the run; position_m along 'out', offset_m to its left; angle_rad of the car
    against 'out', counter-clockwise; head_out_mps, cross_mps: wind in the straight's axes;
    air_speed_mps: U; head_mps, side_mps: wind in the car's axes; rolling_c0: with scatter and warm-up;
    thrust_n: drive less brake at the contact patch; leg: index of the leg, phase: `COAST` where it coasts,
    `HOLD` where it holds a speed; scz_front_m2, scz_rear_m2: where the body rides.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    acceleration_mps2: FloatArray
    position_m: FloatArray
    offset_m: FloatArray
    angle_rad: FloatArray
    head_out_mps: FloatArray
    cross_mps: FloatArray
    head_mps: FloatArray
    side_mps: FloatArray
    throttle: FloatArray
    brake: FloatArray
    thrust_n: FloatArray
    rolling_c0: FloatArray
    phase: FloatArray
    leg: FloatArray
    scz_front_m2: FloatArray
    scz_rear_m2: FloatArray
    density_kgm3: float
    mass_kg: float
    grade: FloatArray

    @property
    def air_speed_mps(self) -> FloatArray:
        """U [m/s]."""
        return np.asarray(np.hypot(self.speed_mps + self.head_mps, self.side_mps))


def sample_times(drive: Drive, rate_hz: float) -> FloatArray:
    """When a channel of a rate is sampled, from the start of the run [s]."""
    return np.arange(0.0, drive.time_s[-1] + 1e-9, 1.0 / rate_hz)


@dataclass(frozen=True, slots=True)
class Leg:
    """One trip along the straight: +1 out, −1 back; a coast-down, a held speed, or a slow drive to the mark."""

    direction: int
    kind: int
    high_mps: float = 0.0
    low_mps: float = 0.0
    hold_s: float = 0.0


def legs_of(run: RunPlan, rng: np.random.Generator) -> list[Leg]:
    """The trips of a run with the speeds that the driver hits; slow drives put in where they are needed."""
    trips: list[Leg] = []
    for direction, (aim_high, aim_low) in zip(run.directions, run.speeds(), strict=True):
        miss = rng.normal(0.0, run.aim_sd_mps, 2)
        high = aim_high + float(miss[0])
        low = min(max(aim_low + float(miss[1]), 0.3 * aim_low), 0.9 * high)
        trips.append(Leg(_sign(direction), COASTING, high, low))
    for held in run.steady:
        speed = max(held.speed_mps + float(rng.normal(0.0, run.aim_sd_mps)), 0.5 * held.speed_mps)
        trips.append(Leg(_sign(held.direction), HOLDING, speed, 0.0, held.hold_s))
    legs: list[Leg] = []
    for trip in trips:
        if legs and legs[-1].direction == trip.direction:
            legs.append(Leg(-trip.direction, RETURNING))
        legs.append(trip)
    return legs


def _sign(direction: str) -> int:
    return 1 if direction == "out" else -1


def drive_run(
    plan: SimulationPlan, truth: TrueDay, run: RunPlan, warmth: float, rng: np.random.Generator
) -> tuple[Drive, float]:
    """Drive one run. warmth: of the tyres at its start, 0 cold to 1 warm; returned as it is at the end."""
    legs = legs_of(run, rng)
    mass = truth.car.mass_kg + truth.driver_mass_kg[run.number]
    density = density_at(plan.weather, run.start_clock_s, truth.air_offset)
    state = _start_state(plan, truth, legs[0].direction, warmth, rng)
    car, hands = _car_numbers(plan, truth, run, mass, density), _driver_numbers(plan)
    front, rear = (_axle_numbers(truth, run.setup, axle, mass * plan.gravity_mps2) for axle in (0, 1))
    body = _body_numbers(truth.car, mass)
    gusts = GustNumbers(truth.gust_sd_mps, truth.gust_time_s, 1.0 / plan.wind.gust_length_m, plan.wind.cross_gust_ratio)
    slow = SlowWind(truth.wind_clock_s - run.start_clock_s, truth.head_out_mps, truth.cross_mps)
    slope, spacing = slope_table(plan, truth.grade)
    parts = []
    for number, leg in enumerate(legs):
        scatter = 1.0 + plan.tyres.pass_scatter_rel * float(rng.standard_normal())
        last = number == len(legs) - 1
        numbers = LegNumbers(float(leg.direction), leg.kind, leg.high_mps, leg.low_mps, leg.hold_s, scatter, last)
        rows = np.empty((round(LONGEST_LEG_S / STEP_S), COLUMNS))
        used, state = drive_leg(state, car, body, front, rear, hands, gusts, numbers, slope, spacing, slow, rng, rows)
        if used == 0:
            raise ValueError(f"runs: a pass of run {run.number} lasts more than {LONGEST_LEG_S:g} s")
        parts.append(np.column_stack([rows[:used], np.full(used, float(number))]))
    return _as_drive(np.concatenate(parts), mass, density, slope, spacing), float(state.warmth)


def slope_table(plan: SimulationPlan, grade: float) -> tuple[FloatArray, float]:
    """Slope dz/ds on an even grid along 'out' from s = 0, and its spacing [m]: grade, or the elevation's."""
    length = plan.venue.length_m or 1.0
    if not plan.venue.elevation:
        return np.full(2, grade), length
    place, height = np.array(plan.venue.elevation).T
    spacing = 5.0
    grid = np.arange(0.0, length + spacing, spacing)
    return np.asarray(np.gradient(np.interp(grid, place, height), spacing)), spacing


def _start_state(
    plan: SimulationPlan, truth: TrueDay, direction: int, warmth: float, rng: np.random.Generator
) -> State:
    gust, side = rng.standard_normal(2) * truth.gust_sd_mps
    if direction > 0:
        place, offset, angle = plan.driver.marks_m[0], 0.0, 0.0
    else:
        place, offset, angle = plan.driver.marks_m[1], 2.0 * plan.driver.turn_radius_m, math.pi
    across = plan.wind.cross_gust_ratio * float(side)
    return State(0.0, place, offset, angle, float(gust), across, warmth, 0.0, (0.0, 0.0))


def _car_numbers(plan: SimulationPlan, truth: TrueDay, run: RunPlan, mass: float, density: float) -> CarNumbers:
    car, tyres = truth.car, plan.tyres
    return CarNumbers(
        mass=mass,
        mass_e=mass + car.rotating_mass_kg,
        density=density,
        scx=truth.areas[run.setup].scx_m2,
        c0=car.rolling_c0,
        c1=car.rolling_c1_s_per_m,
        t0=car.driveline_drag_n + run.brake_drag_n,
        t1=car.driveline_drag_n_per_mps,
        yaw=truth.yaw_sensitivity_per_rad2,
        gravity=plan.gravity_mps2,
        warm_up=tyres.warm_up_rel,
        heating=tyres.heating_s,
        cooling=tyres.cooling_s,
    )


def _axle_numbers(truth: TrueDay, setup: str, axle: int, weight_n: float) -> AxleNumbers:
    """Spring loads from a lifted axle to three times the car's weight more than standing."""
    car, areas = truth.car, truth.areas[setup]
    loads = np.linspace(-weight_n, 3.0 * weight_n, SPRING_LOADS)
    return AxleNumbers(
        area=(areas.scz_front_m2, areas.scz_rear_m2)[axle],
        bend=(areas.bend_front_per_m, areas.bend_rear_per_m)[axle],
        reference_sink=(areas.sink_front_m, areas.sink_rear_m)[axle],
        friction=2.0 * car.joint_friction_n[axle],
        tyre_rate=2.0 * car.tyre_rate_n_per_m[axle],
        side=(-1.0, 1.0)[axle],
        link=car.link(axle),
        low=float(loads[0]),
        spacing=float(loads[1] - loads[0]),
        travel=car.wheel_travel(axle, loads),
    )


def _body_numbers(car: TrueCar, mass: float) -> BodyNumbers:
    return BodyNumbers(
        lever=mass * car.cg_height_m / car.wheelbase_m,
        spin=car.spin_kg_m / car.wheelbase_m,
        lift=car.lift_m / LIFT_SPEED_MPS**2,
    )


def _driver_numbers(plan: SimulationPlan) -> DriverNumbers:
    hands = plan.driver
    return DriverNumbers(
        power=hands.power_w,
        grip=hands.grip_mps2,
        stopping=hands.brake_mps2,
        radius=hands.turn_radius_m,
        turn_speed=hands.turn_mps,
        stand=hands.stand_s,
        slow_speed=hands.drive_back_mps,
        near=hands.marks_m[0],
        far=hands.marks_m[1],
        margin=hands.margin_m,
        length=plan.venue.length_m or 0.0,
    )


def _as_drive(table: FloatArray, mass: float, density: float, slope: FloatArray, spacing: float) -> Drive:
    speed, rate, place, offset, angle, along, across, throttle, brake, thrust, c0, phase, *rest = table.T
    scz_front, scz_rear, leg = rest
    cos, sin = np.cos(angle), np.sin(angle)
    grade = np.interp(place, spacing * np.arange(len(slope)), slope)
    return Drive(
        time_s=np.asarray(STEP_S * np.arange(len(speed)), dtype=np.float64),
        speed_mps=speed.copy(),
        acceleration_mps2=rate.copy(),
        position_m=place.copy(),
        offset_m=offset.copy(),
        angle_rad=angle.copy(),
        head_out_mps=along.copy(),
        cross_mps=across.copy(),
        head_mps=along * cos - across * sin,
        side_mps=across * cos + along * sin,
        throttle=throttle.copy(),
        brake=brake.copy(),
        thrust_n=thrust.copy(),
        rolling_c0=c0.copy(),
        phase=phase.copy(),
        leg=leg.copy(),
        scz_front_m2=scz_front.copy(),
        scz_rear_m2=scz_rear.copy(),
        density_kgm3=density,
        mass_kg=mass,
        grade=grade * cos,
    )
