"""The equation of motion stepped along one trip, with the gusts the car meets and the driver's hands.

    m_e dv/dt = thrust − brake − [(c0 + c1 v)(m g + ½ρU²·SCz) + T0 + T1 v + ½ρU² SCx (1 + k_β β²) + m g γ]
    U² = (v + w_x)² + w_y²,   β = atan2(w_y, v + w_x)

The gust is an Ornstein–Uhlenbeck process along and across the straight, exact at the steps; Heun's method at
0.01 s, the wind a straight line over a step. Each axle's SCz follows how far the body has sunk over it:

    SCz_axle = area [1 + bend (sink − sink_reference)],   sink = z(P) + F/(2 K_tyre) − lift v²

with F the axle's load and P what its springs carry of it (`simulate_loads`), one step late. Compiled functions
take positional arguments and plain arrays: what their places mean stands in `simulate_numbers`.
"""

from __future__ import annotations

import math

import numpy as np

from server.analysis.simulate_numbers import (
    COASTING,
    HOLDING,
    AxleNumbers,
    BodyNumbers,
    CarNumbers,
    DriverNumbers,
    GustNumbers,
    LegNumbers,
    SlowWind,
    State,
    compiled,
    lookup,
)
from server.testday.values import FloatArray

STEP_S = 0.01
COLUMNS = 14
COAST, HOLD = 2, 8
_STAND, _ACCELERATE, _BRAKE, _TURN, _DRIVE, _DAB, _LEAVE = 0, 1, 3, 4, 5, 6, 7
_LAG_S = 0.08
_DAB_S = 0.5
_NEAR_MARK_M = 25.0
_HOLD_GAIN_PER_S = 0.4


@compiled
def resistance(  # noqa: PLR0917 - compiled functions take plain arguments
    v: float, head: float, side: float, c0: float, grade: float, scz: float, car: CarNumbers
) -> float:
    """Resistance at ground speed v in a wind, c0, grade and SCz as they are there [N]."""
    along = v + head
    q = 0.5 * car.density * (along * along + side * side)
    beta = math.atan2(side, along)
    rolling = (c0 + car.c1 * v) * (car.mass * car.gravity + q * scz)
    drag = q * car.scx * (1.0 + car.yaw * beta * beta)
    if along < 0.0:
        drag = -q * car.scx
    return rolling + car.t0 + car.t1 * v + drag + car.mass * car.gravity * grade


@compiled
def next_phase(  # noqa: PLR0917, PLR0911 - compiled; one line a phase
    phase: int, since: float, v: float, to_mark: float, room: float, leg: LegNumbers, hands: DriverNumbers
) -> int:
    """What the driver does next; since: time in this phase, to_mark: distance to the turning mark,
    room: distance to the end of the straight less the margin."""
    braking = v * v / (2.0 * hands.stopping)
    must_stop = braking + 0.3 * v >= room
    if phase == _STAND and since >= hands.stand:
        return _ACCELERATE if leg.kind in (COASTING, HOLDING) else _DRIVE
    if phase == _ACCELERATE and (v >= leg.high or must_stop):
        return HOLD if leg.kind == HOLDING else COAST
    if phase == HOLD and (since >= leg.hold or must_stop):
        return _DAB if to_mark > _NEAR_MARK_M and not must_stop else _BRAKE
    if phase == COAST and (v <= leg.low or must_stop):
        return _DAB if to_mark > _NEAR_MARK_M and not must_stop else _BRAKE
    if phase == _DAB and since >= _DAB_S and v <= hands.slow_speed:
        return _DRIVE
    if phase == _DRIVE and (to_mark <= braking or must_stop):
        return _BRAKE
    if phase == _BRAKE and v <= hands.turn_speed:
        return _LEAVE if leg.last else _TURN
    return phase


@compiled
def pedals(  # noqa: PLR0917, PLR0911 - compiled; one line a phase
    phase: int, since: float, v: float, hold: float, needed: float, mass: float, hands: DriverNumbers
) -> tuple[float, float, float]:
    """Wanted thrust [N], wanted brake deceleration [m/s²] and throttle [–]; hold: the speed to hold, needed: the
    thrust that it takes in still air."""
    limit = min(mass * hands.grip, hands.power / max(v, 1.0))
    if phase == _ACCELERATE:
        return limit, 0.0, 1.0
    if phase == HOLD:
        thrust = min(limit, max(0.0, needed + _HOLD_GAIN_PER_S * mass * (hold - v)))
        return thrust, 0.0, thrust / limit
    if phase == _DRIVE or phase == _TURN:  # noqa: PLR1714, SIM109 - compiled
        aim = hands.slow_speed if phase == _DRIVE else hands.turn_speed
        thrust = min(limit, max(0.0, 1.5 * mass * (aim - v) + 100.0))
        return thrust, 0.0, thrust / limit
    if phase == _BRAKE or phase == _LEAVE:  # noqa: PLR1714, SIM109 - compiled
        return 0.0, hands.stopping, 0.0
    if phase == _DAB:
        return 0.0, 0.5 * hands.stopping, 0.0
    if phase == _STAND and since < hands.stand - 0.5:
        return 0.0, 0.3 * hands.stopping, 0.0
    return 0.0, 0.0, 0.0


@compiled
def wind_at(clock: float, slow: SlowWind, gust: float, side_gust: float) -> tuple[float, float]:
    """Head wind travelling out and wind from the right at a time of the run [m/s]."""
    since, step = clock - slow.clock[0], slow.clock[1] - slow.clock[0]
    return lookup(since, step, slow.head) + gust, lookup(since, step, slow.cross) + side_gust


@compiled
def in_car_axes(wind: tuple[float, float], angle: float) -> tuple[float, float]:
    """Head wind and wind from the right at a car that stands at an angle to 'out' [m/s]."""
    cos, sin = math.cos(angle), math.sin(angle)
    return wind[0] * cos - wind[1] * sin, wind[1] * cos + wind[0] * sin


@compiled
def acceleration(  # noqa: PLR0917 - compiled functions take plain arguments
    v: float,
    wind: tuple[float, float],
    angle: float,
    c0: float,
    grade: float,
    scz: float,
    push: float,
    car: CarNumbers,
) -> float:
    """dv/dt [m/s²] of the car at an angle to 'out'; a standing car is held by its resistance."""
    head, side = in_car_axes(wind, angle)
    force = push - resistance(v, head, side, c0, grade, scz, car)
    if v <= 0.0 and force < 0.0:
        return 0.0
    return force / car.mass_e


@compiled
def sunk_area(  # noqa: PLR0917 - compiled functions take plain arguments
    v: float, q: float, moved: float, drive: float, area: float, held: float, axle: AxleNumbers, body: BodyNumbers
) -> tuple[float, float]:
    """Downforce area of an axle where the body rides now [m²], and the load on its springs [N].

    q: dynamic pressure [Pa]; moved: load transfer to the rear [N]; drive: drive force [N]; area: SCz a step ago;
    held: spring load a step ago.
    """
    load = q * area + axle.side * moved
    wanted = load + axle.link * drive
    held = min(max(held, wanted - axle.friction), wanted + axle.friction)
    sink = lookup(held - axle.low, axle.spacing, axle.travel) + load / axle.tyre_rate - body.lift * v * v
    return axle.area * (1.0 + axle.bend * (sink - axle.reference_sink)), held


@compiled
def sunk_areas(  # noqa: PLR0917 - compiled functions take plain arguments
    v: float,
    air_speed: float,
    grade: float,
    now: float,
    push: float,
    areas: tuple[float, float],
    held: tuple[float, float],
    front: AxleNumbers,
    rear: AxleNumbers,
    body: BodyNumbers,
    car: CarNumbers,
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Downforce areas and spring loads of both axles; now: acceleration a step ago, areas and held likewise."""
    q = 0.5 * car.density * air_speed * air_speed
    moved = body.lever * (now + car.gravity * grade) + body.spin * now
    drive = max(push, 0.0)
    ahead, held_ahead = sunk_area(v, q, moved, drive, areas[0], held[0], front, body)
    behind, held_behind = sunk_area(v, q, moved, drive, areas[1], held[1], rear, body)
    return (ahead, behind), (held_ahead, held_behind)


@compiled
def next_gusts(
    air_speed: float, gust: float, side_gust: float, gusts: GustNumbers, rng: np.random.Generator
) -> tuple[float, float]:
    """Both gusts a step later; a moving car meets them faster."""
    phi = math.exp(-STEP_S * (1.0 / gusts.time + air_speed * gusts.per_length))
    kick = gusts.sd * math.sqrt(1.0 - phi * phi)
    along = phi * gust + kick * rng.standard_normal()
    return along, phi * side_gust + kick * gusts.cross * rng.standard_normal()


@compiled
def drive_leg(  # noqa: PLR0917 - compiled functions take plain arguments
    state: State,
    car: CarNumbers,
    body: BodyNumbers,
    front: AxleNumbers,
    rear: AxleNumbers,
    hands: DriverNumbers,
    gusts: GustNumbers,
    leg: LegNumbers,
    slope: FloatArray,
    spacing: float,
    slow: SlowWind,
    rng: np.random.Generator,
    rows: FloatArray,
) -> tuple[int, State]:
    """Fill `rows` with one trip, every `STEP_S`: (rows used, state at its end); 0 when they are too few.

    Columns: v, dv/dt, s, y, angle, head wind 'out', cross wind, throttle, brake, thrust, c0, phase,
    SCz front, SCz rear.
    """
    v, s, y, angle, gust, side_gust, warmth, clock, held = state
    areas, scz, now = (front.area, rear.area), front.area + rear.area, 0.0
    lag = math.exp(-STEP_S / _LAG_S)
    phase, since, turned, thrust, brake = _STAND, 0.0, 0.0, 0.0, 0.0
    wind = wind_at(clock, slow, gust, side_gust)
    for k in range(rows.shape[0]):
        since += STEP_S
        to_mark = hands.far - s if leg.direction > 0.0 else s - hands.near
        room = (hands.length - s if leg.direction > 0.0 else s) - hands.margin
        new_phase = next_phase(phase, since, v, to_mark, room, leg, hands)
        if phase == _TURN and turned >= math.pi:
            new_phase = _LEAVE
        if new_phase != phase:
            phase, since = new_phase, 0.0
        if phase == _LEAVE and v <= 0.0:
            return k, State(0.0, s, y, angle, gust, side_gust, warmth, clock, held)
        c0 = car.c0 * leg.scatter * (1.0 + car.warm_up * (1.0 - warmth))
        grade = lookup(s, spacing, slope) * math.cos(angle)
        needed = resistance(v, 0.0, 0.0, c0, grade, scz, car)
        want_thrust, want_brake, throttle = pedals(phase, since, v, leg.high, needed, car.mass, hands)
        next_thrust = lag * thrust + (1.0 - lag) * want_thrust
        next_brake = lag * brake + (1.0 - lag) * want_brake
        # the wind over this step
        head, side = in_car_axes(wind, angle)
        air_speed = math.hypot(v + head, side)
        gust, side_gust = next_gusts(air_speed, gust, side_gust, gusts, rng)
        next_wind = wind_at(clock + STEP_S, slow, gust, side_gust)
        # the car over this step
        push = thrust - car.mass * brake if v > 0.0 else thrust
        areas, held = sunk_areas(v, air_speed, grade, now, push, areas, held, front, rear, body, car)
        scz = areas[0] + areas[1]
        now = acceleration(v, wind, angle, c0, grade, scz, push, car)
        ahead = max(0.0, v + STEP_S * now)
        next_push = next_thrust - car.mass * next_brake if ahead > 0.0 else next_thrust
        then = acceleration(ahead, next_wind, angle, c0, grade, scz, next_push, car)
        if phase == _STAND:
            now, then = 0.0, 0.0
        row = rows[k]
        row[0], row[1], row[2], row[3], row[4], row[5] = v, now, s, y, angle, wind[0]
        row[6], row[7], row[8], row[9], row[10] = wind[1], throttle, brake / hands.stopping, push, c0
        row[11], row[12], row[13] = phase, areas[0], areas[1]
        next_v = max(0.0, v + 0.5 * STEP_S * (now + then))
        way = 0.5 * STEP_S * (v + next_v)
        s += way * math.cos(angle)
        y += way * math.sin(angle)
        if phase == _TURN and turned < math.pi:
            angle += way / hands.radius
            turned += way / hands.radius
            if turned >= math.pi:
                angle = round(angle / math.pi) * math.pi
        warmth += STEP_S * ((1.0 - warmth) / car.heating if v > 3.0 else -warmth / car.cooling)
        v, thrust, brake, wind = next_v, next_thrust, next_brake, next_wind
        clock += STEP_S
    return 0, state
