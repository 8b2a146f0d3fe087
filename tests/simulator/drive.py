"""Drive the planned runs: legs by the equation of motion, turns at walking pace in between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.simulator.air import DayAir
from tests.simulator.car import CarDraw, SetupDraw
from tests.simulator.motion import COAST, COLUMNS, CRUISE, DRIVE, GRAVITY, HOLD, RATE_HZ, Leg, drive_leg
from tests.simulator.road import Road
from tests.simulator.scenario import Scenario
from tests.simulator.schedule import PlannedRun
from tests.simulator.stated import Known
from tests.simulator.steady import REFERENCE_MPS, SteadyCar, bend_per_metre
from tests.simulator.tyres import TyreLaw, pass_factors
from tests.simulator.wind import GustLaw, SlowWind

FloatArray = NDArray[np.float64]
TURN_RADIUS_M = 5.0
TURN_MPS = 3.0
LONGEST_LEG_S = 150.0
LONGEST_COAST_S = 90.0


@dataclass(frozen=True, slots=True, eq=False)
class DayDraw:
    """All that is drawn for a day before anything moves."""

    car: CarDraw
    setups: Mapping[str, SetupDraw]
    driver: Known
    road: Road
    air: DayAir
    slow_wind: SlowWind
    gusts: GustLaw
    tyres: TyreLaw
    scenario: Scenario
    density: float  # of the reference condition [kg/m³]

    @property
    def mass_kg(self) -> float:
        return self.car.mass.true + self.driver.true


@dataclass(frozen=True, slots=True, eq=False)
class TrueLeg:
    """One leg as it was: inputs, run-clock time of its first row, rows × COLUMNS."""

    inputs: Leg
    begins_s: float
    rows: FloatArray

    def column(self, name: str) -> FloatArray:
        return self.rows[:, COLUMNS.index(name)]

    @property
    def time_s(self) -> FloatArray:
        return self.begins_s + np.arange(len(self.rows)) / RATE_HZ

    @property
    def coasting(self) -> NDArray[np.bool_]:
        """Rows of the coast-down."""
        return self.column("phase") == COAST

    @property
    def holding(self) -> NDArray[np.bool_]:
        """Rows at a held speed, from two seconds after it was reached."""
        held = self.column("phase") == CRUISE
        return held & (np.cumsum(held) > 2.0 * RATE_HZ)


@dataclass(frozen=True, slots=True, eq=False)
class TrueRun:
    """A run on its own clock at RATE_HZ: speed, heading, place, phase of `motion`, grade ahead, loads, wind against
    and across the car (none in turns)."""

    plan: PlannedRun
    legs: tuple[TrueLeg, ...]
    time_s: FloatArray
    speed: FloatArray
    accel: FloatArray
    phase: FloatArray
    along_m: FloatArray
    across_m: FloatArray
    heading_rad: FloatArray
    grade_ahead: FloatArray
    drive_n: FloatArray
    brake_n: FloatArray
    downforce_front_n: FloatArray
    downforce_rear_n: FloatArray
    head_mps: FloatArray
    cross_mps: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """Rows of a leg or a turn before they are joined."""

    speed: FloatArray
    accel: FloatArray
    phase: FloatArray
    along_m: FloatArray
    across_m: FloatArray
    heading_rad: FloatArray
    grade_ahead: FloatArray
    drive_n: FloatArray
    brake_n: FloatArray
    downforce_front_n: FloatArray
    downforce_rear_n: FloatArray
    head_mps: FloatArray
    cross_mps: FloatArray


def drive_run(
    draw: DayDraw,
    plan: Sequence[PlannedRun],
    rng: np.random.Generator,
    wind_rng: np.random.Generator,
    *,
    tyre_rng: np.random.Generator,
    steady_rng: np.random.Generator,
) -> tuple[TrueRun, ...]:
    """Drive every run of the day."""
    legs = [(run, k) for run in plan for k in range(len(run.directions))]
    coasts = np.array([run.cruise_mps[k] == 0.0 for run, k in legs])
    nominal = np.array([run.start_clock_s + 62.0 * k for run, k in legs])
    outing = np.array([run.outing_clock_s for run, _ in legs])
    steady, warm = pass_factors(draw.tyres, tyre_rng, nominal, outing, coasts)
    runs, first = [], 0
    for run in plan:
        mine = slice(first, first + len(run.directions))
        first = mine.stop
        factors = (steady[mine], warm[mine])
        runs.append(_drive_one(draw, run, factors, rng, wind_rng, steady_rng=steady_rng))
    return tuple(runs)


def _drive_one(
    draw: DayDraw,
    run: PlannedRun,
    c0_factors: tuple[FloatArray, FloatArray],
    rng: np.random.Generator,
    wind_rng: np.random.Generator,
    *,
    steady_rng: np.random.Generator,
) -> TrueRun:
    gust = wind_rng.standard_normal(4)
    strength = float(np.exp(0.12 * wind_rng.standard_normal()))
    place = float(rng.uniform(-10.0, 10.0)) if run.directions[0] > 0 else float(rng.uniform(560.0, 640.0))
    clock, legs, stretches = 0.0, [], []
    for k, direction in enumerate(run.directions):
        if k > 0:
            turn = _turn(draw.road, place, run.directions[k - 1])
            stretches.append(turn)
            clock += turn.speed.size / RATE_HZ
            _rest_gusts(gust, wind_rng, turn.speed.size / RATE_HZ / draw.gusts.time_s)
            place += float(rng.uniform(-8.0, 8.0))
        inputs = _leg_inputs(
            draw,
            run,
            direction=direction,
            cruise=run.cruise_mps[k],
            clock_s=clock,
            place_m=place,
            c0_factors=(float(c0_factors[0][k]), float(c0_factors[1][k])),
            strength=strength,
            rng=rng,
            steady_rng=steady_rng,
        )
        kicks = wind_rng.standard_normal((int(LONGEST_LEG_S * RATE_HZ), 4))
        rows = drive_leg(inputs, draw.road.grade, kicks, gust, LONGEST_COAST_S)
        leg = TrueLeg(inputs, clock, rows)
        legs.append(leg)
        stretches.append(_leg_stretch(leg, draw.road.heading_rad))
        clock += len(rows) / RATE_HZ
        place = float(rows[-1, 1])
    joined = {
        name: np.concatenate([getattr(s, name) for s in stretches]) for name in _Stretch.__dataclass_fields__
    }
    return TrueRun(run, tuple(legs), np.arange(joined["speed"].size) / RATE_HZ, **joined)


def _leg_inputs(
    draw: DayDraw,
    run: PlannedRun,
    *,
    direction: int,
    cruise: float,
    clock_s: float,
    place_m: float,
    c0_factors: tuple[float, float],
    strength: float,
    rng: np.random.Generator,
    steady_rng: np.random.Generator,
) -> Leg:
    car, setup, resistance = draw.car, draw.setups[run.setup], draw.car.resistance
    now = run.start_clock_s + clock_s
    head, cross = (float(w) for w in draw.slow_wind.at(now + 20.0))
    later, _ = draw.slow_wind.at(now + 30.0)
    slope = (float(later) - head) / 10.0
    mass, density = draw.mass_kg, draw.air.density_kgm3(now)
    coast = Leg(
        direction=float(direction),
        mass=mass,
        rotating=car.rotating_mass_kg,
        density=density,
        scx=setup.scx,
        scz_front=setup.scz_front.true,
        scz_rear=setup.scz_rear.true,
        yaw_factor=car.yaw_factor,
        c0=resistance.c0.true * c0_factors[0],
        c0_warm=resistance.c0.true * c0_factors[1],
        warm_time=draw.tyres.warm_time_s,
        c1=resistance.c1.true,
        T0=resistance.T0.true,
        T1=resistance.T1.true,
        hold_before=float(rng.uniform(3.5, 5.5)),
        hold_after=float(rng.uniform(3.5, 5.5)),
        lift_speed=draw.scenario.speeds_mps[0] + float(rng.uniform(-0.4, 1.2)),
        end_speed=draw.scenario.speeds_mps[1] + float(rng.uniform(-0.5, 0.5)),
        push=mass * float(rng.uniform(5.0, 7.0)),
        power=float(rng.uniform(60e3, 80e3)),
        brake=mass * float(rng.uniform(4.0, 7.0)),
        start=place_m,
        slow_head=head - 20.0 * slope,
        slow_head_slope=slope,
        slow_cross=cross,
        gust_sigma=draw.gusts.sigma_mps * strength,
        cross_sigma=draw.gusts.cross_sigma_mps * strength,
        gust_time=draw.gusts.time_s,
        gust_length=draw.gusts.length_m,
        in_length=draw.gusts.in_length,
        intermittency=draw.gusts.intermittency,
        fast_share=draw.gusts.fast_share,
        cg_height=car.cg_height.true,
        wheelbase=car.wheelbase.true,
        spin=car.spin_momentum_kgm,
        **_bend(draw, setup),
    )
    return _held(coast, cruise, steady_rng) if cruise > 0.0 else coast


def _bend(draw: DayDraw, setup: SetupDraw) -> dict[str, float]:
    """How the leg's downforce depends on its ride heights."""
    if not draw.scenario.bent:
        return {}
    car, steady = draw.car, SteadyCar(draw.car, setup, draw.mass_kg, draw.density)
    per_metre = bend_per_metre(steady, draw.scenario)
    sinks = steady.sinks(REFERENCE_MPS)
    return {
        "bend_front": per_metre[0],
        "bend_rear": per_metre[1],
        "front_sink": sinks[0],
        "rear_sink": sinks[1],
        "front_rate": car.front.ride_rate_n_per_m,
        "rear_rate": car.rear.ride_rate_n_per_m,
        "front_lift": car.front.lift_per_mps2,
        "rear_lift": car.rear.lift_per_mps2,
        "rear_squat": steady.squat_m_per_n,
    }


def _held(coast: Leg, speed: float, rng: np.random.Generator) -> Leg:
    """The same leg with a held speed: 7.5 to 11 s, wavering by 2 to 10 cm/s about it."""
    q = 0.5 * coast.density * speed**2
    rolling = (coast.c0 + coast.c1 * speed) * (coast.mass * GRAVITY + q * (coast.scz_front + coast.scz_rear))
    waver = (rng.uniform(0.02, 0.10), rng.uniform(4.0, 9.0), rng.uniform(0.0, 2.0 * np.pi))
    return coast._replace(
        lift_speed=speed - 0.3,
        cruise=speed,
        cruise_s=float(rng.uniform(7.5, 11.0)),
        cruise_push=rolling + coast.T0 + coast.T1 * speed + q * coast.scx,
        hunt=(float(waver[0]), float(waver[1]), float(waver[2])),
    )


def _rest_gusts(gust: FloatArray, rng: np.random.Generator, share: float) -> None:
    """Carry the gust state over a pause of `share` correlation times, in place."""
    for k, times in enumerate((1.0, 8.0, 1.0, 0.15)):
        rho = np.exp(-share * times)
        gust[k] = rho * gust[k] + np.sqrt(1.0 - rho**2) * rng.standard_normal()


def _leg_stretch(leg: TrueLeg, heading_rad: float) -> _Stretch:
    c = {name: leg.column(name) for name in COLUMNS}
    n, out = len(leg.rows), leg.inputs.direction
    side = 0.0 if out > 0 else 2.0 * TURN_RADIUS_M
    front, rear = (_pressure(leg, ahead_m) for ahead_m in (0.5 * leg.inputs.wheelbase, -0.5 * leg.inputs.wheelbase))
    return _Stretch(
        speed=c["v"],
        accel=c["a"],
        phase=c["phase"],
        along_m=c["s"],
        across_m=np.full(n, side),
        heading_rad=np.full(n, heading_rad + (0.0 if out > 0 else np.pi)),
        grade_ahead=out * c["grade"],
        drive_n=c["drive"],
        brake_n=c["brake"],
        downforce_front_n=front * c["scz_f"],
        downforce_rear_n=rear * c["scz_r"],
        head_mps=c["head"],
        cross_mps=c["cross"],
    )


def _pressure(leg: TrueLeg, ahead_m: float) -> FloatArray:
    """½ρU² at a place ahead of the car's middle, which meets a gust by ahead/U sooner [Pa]."""
    v, head, cross = (leg.column(name) for name in ("v", "head", "cross"))
    clock = np.arange(v.size) / RATE_HZ
    met = clock + ahead_m / np.maximum(v + head, 3.0)
    along, across = (np.interp(met, clock, wind) for wind in (head, cross))
    return np.asarray(0.5 * leg.inputs.density * ((v + along) ** 2 + across**2))


def _turn(road: Road, place_m: float, before: int) -> _Stretch:
    """A half circle at walking pace to the lane of the other direction; air forces are left out."""
    length = np.pi * TURN_RADIUS_M
    ramp_s, cruise_s = TURN_MPS, length / TURN_MPS - TURN_MPS
    t = np.arange(0.0, 2.0 * ramp_s + cruise_s, 1.0 / RATE_HZ)
    speed = np.clip(np.minimum(t, t[-1] - t), 0.0, TURN_MPS)
    turned = np.minimum(np.cumsum(speed) / RATE_HZ / TURN_RADIUS_M, np.pi)
    start = road.heading_rad + (0.0 if before > 0 else np.pi)
    sideways = TURN_RADIUS_M * (1.0 - np.cos(turned))
    zero = np.zeros_like(t)
    return _Stretch(
        speed=speed,
        accel=np.gradient(speed, 1.0 / RATE_HZ),
        phase=np.where(speed > 0.0, float(DRIVE), float(HOLD)),
        along_m=place_m + before * TURN_RADIUS_M * np.sin(turned),
        across_m=sideways if before > 0 else 2.0 * TURN_RADIUS_M - sideways,
        heading_rad=start + turned,
        grade_ahead=zero + float(road.at(np.array([place_m]))[0]) * before * np.cos(turned),
        drive_n=np.where(speed > 0.0, 150.0, 0.0),
        brake_n=zero,
        downforce_front_n=zero,
        downforce_rear_n=zero,
        head_mps=zero,
        cross_mps=zero,
    )
