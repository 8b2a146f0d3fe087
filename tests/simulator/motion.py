"""The motion of one leg: standstill, acceleration, coast-down or a held speed, braking, standstill.

Fourth-order Runge–Kutta at 200 Hz with the gusts advanced by their exact recursion, in one compiled loop.
Travel is along the straight; `direction` is +1 out, −1 back; head wind is positive against the car.
"""

from __future__ import annotations

from typing import NamedTuple

import numba as nb
import numpy as np
from numpy.typing import NDArray

from tests.simulator.road import ORIGIN_M, STEP_M

FloatArray = NDArray[np.float64]
RATE_HZ = 200.0
GRAVITY = 9.80665
LONGEST_DRIVE_S = 20.0  # a car that does not get faster is let go
YAW_LIMIT_RAD = 0.35  # yaw no longer adds drag beyond about 20°
HOLD, DRIVE, COAST, BRAKE, PARKED, CRUISE = 0, 1, 2, 3, 4, 5
CRUISE_GAIN_PER_S = 0.6
CRUISE_LAG_S = 0.15
COLUMNS = ("v", "s", "a", "phase", "head", "cross", "drive", "brake", "grade", "scz_f", "scz_r", "c0")


class Leg(NamedTuple):
    """Inputs of one leg, SI. grade is positive uphill travelling out; c0(t) = c0 + warm·exp(−t/warm_time).

    bend_front, bend_rear: relative change of downforce per metre that an axle sinks below where it rides in
    the reference condition, front_sink and rear_sink below standing [m]. The sink of an axle:

        z = load/rate − lift·v² − squat·push

    with its ride rate [N/m], the growth of its tyres' loaded radius [m/(m/s)²] and, at the rear, what the
    drive force takes off the springs [m/N]. cruise: the speed to hold for cruise_s, 0 for a coast-down;
    cruise_push: the force that it takes in still air; hunt: how the held speed wavers: amplitude [m/s],
    period [s], phase [rad].
    """

    direction: float
    mass: float
    rotating: float
    density: float
    scx: float
    scz_front: float
    scz_rear: float
    yaw_factor: float
    c0: float
    c0_warm: float
    warm_time: float
    c1: float
    T0: float
    T1: float
    hold_before: float
    hold_after: float
    lift_speed: float
    end_speed: float
    push: float
    power: float
    brake: float
    start: float
    slow_head: float
    slow_head_slope: float
    slow_cross: float
    gust_sigma: float
    cross_sigma: float
    gust_time: float
    gust_length: float
    in_length: bool
    intermittency: float
    fast_share: float
    cg_height: float
    wheelbase: float
    spin: float
    bend_front: float = 0.0
    bend_rear: float = 0.0
    front_sink: float = 0.0
    rear_sink: float = 0.0
    front_rate: float = 6e4
    rear_rate: float = 6e4
    front_lift: float = 0.0
    rear_lift: float = 0.0
    rear_squat: float = 0.0
    cruise: float = 0.0
    cruise_s: float = 0.0
    cruise_push: float = 0.0
    hunt: tuple[float, float, float] = (0.0, 1.0, 0.0)


@nb.njit(cache=True)
def _lookup(table: FloatArray, position: float) -> float:
    x = (position - ORIGIN_M) / STEP_M
    k = min(max(int(x), 0), table.size - 2)
    return table[k] + (x - k) * (table[k + 1] - table[k])


@nb.njit(cache=True)
def aero(leg: Leg, v: float, head: float, cross: float) -> tuple[float, float]:
    """Dynamic pressure ½ρU² [Pa] and drag [N] along the car, with the yaw term levelling off."""
    along = v + head
    q = 0.5 * leg.density * (along * along + cross * cross)
    beta = YAW_LIMIT_RAD * np.tanh(np.arctan2(cross, along) / YAW_LIMIT_RAD)
    drag = q * leg.scx * (1.0 + leg.yaw_factor * beta * beta)
    return q, drag if along >= 0.0 else -drag


@nb.njit(cache=True)
def _rate(leg, table, motion, wind, controls):  # type: ignore[no-untyped-def]
    """dv/dt. motion: v, s; wind: head, cross; controls: push, brake, c0, SCz."""
    (v, s), (push, brake, c0, scz) = motion, controls
    q, drag = aero(leg, v, wind[0], wind[1])
    rolling = (c0 + leg.c1 * v) * (leg.mass * GRAVITY + q * scz) + leg.T0 + leg.T1 * v
    slope = leg.mass * GRAVITY * leg.direction * _lookup(table, s)
    return (push - brake - rolling - drag - slope) / (leg.mass + leg.rotating)


@nb.njit(cache=True)
def _step(leg, table, motion, winds, controls):  # type: ignore[no-untyped-def]
    """v and s one step on; winds: at its beginning and its end."""
    dt, d, (v, s), (before, after) = 1.0 / RATE_HZ, leg.direction, motion, winds
    middle = (0.5 * (before[0] + after[0]), 0.5 * (before[1] + after[1]))
    a1 = _rate(leg, table, motion, before, controls)
    v2 = v + 0.5 * dt * a1
    a2 = _rate(leg, table, (v2, s + 0.5 * dt * d * v), middle, controls)
    v3 = v + 0.5 * dt * a2
    a3 = _rate(leg, table, (v3, s + 0.5 * dt * d * v2), middle, controls)
    v4 = v + dt * a3
    a4 = _rate(leg, table, (v4, s + dt * d * v3), after, controls)
    speed = v + dt / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4)
    return max(speed, 0.0), s + dt / 6.0 * d * (v + 2.0 * v2 + 2.0 * v3 + v4)


@nb.njit(cache=True)
def _target(leg: Leg, since: float) -> float:
    """The speed that a driver who hunts a little tries to hold [m/s]."""
    return leg.cruise + leg.hunt[0] * np.sin(2.0 * np.pi * since / leg.hunt[1] + leg.hunt[2])


@nb.njit(cache=True)
def drive_leg(leg, table, kicks, gust, longest):  # type: ignore[no-untyped-def]
    """Integrate one leg. kicks: (n, 4) standard normals; gust: state (slow and fast part along, across,
    strength) that is continued in place; returns an array (rows, 12) with COLUMNS at RATE_HZ."""
    dt = 1.0 / RATE_HZ
    out = np.empty((kicks.shape[0], 12))
    v, s, phase, since, clock = 0.0, leg.start, HOLD, 0.0, 0.0
    push = brake = 0.0
    scz_f, scz_r = leg.scz_front, leg.scz_rear
    wind = _wind(leg, gust, 0.0)
    n = 0
    for i in range(kicks.shape[0]):
        c0 = leg.c0 + leg.c0_warm * np.exp(-clock / leg.warm_time)
        if phase == HOLD and since >= leg.hold_before:
            phase, since = DRIVE, 0.0
        elif phase == DRIVE and (v >= leg.lift_speed or since > LONGEST_DRIVE_S):
            phase, since = CRUISE if leg.cruise > 0.0 else COAST, 0.0
        elif (phase == COAST and (v <= leg.end_speed or since > longest)) or (
            phase == CRUISE and since >= leg.cruise_s
        ):
            phase, since = BRAKE, 0.0
        elif phase == BRAKE and v <= 0.0:
            phase, since = PARKED, 0.0
        elif phase == PARKED and since >= leg.hold_after:
            break
        push, brake = _pedals(leg, phase, since, v, push)
        _advance_gust(leg, gust, kicks[i], max(abs(v + wind[0]), 1.0), dt)
        wind_next = _wind(leg, gust, clock + dt)
        a, v_next, s_next = 0.0, v, s
        if phase in (DRIVE, COAST, BRAKE, CRUISE):
            controls = (push, brake, c0, scz_f + scz_r)
            if leg.bend_front != 0.0 or leg.bend_rear != 0.0:
                scz_f, scz_r = _bend_axles(leg, table, (v, s), wind, (controls, scz_f, scz_r))
                controls = (push, brake, c0, scz_f + scz_r)
            a = _rate(leg, table, (v, s), wind, controls)
            v_next, s_next = _step(leg, table, (v, s), (wind, wind_next), controls)
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = v, s, a, phase
        out[i, 4], out[i, 5], out[i, 6], out[i, 7] = wind[0], wind[1], push, brake
        out[i, 8], out[i, 9], out[i, 10], out[i, 11] = _lookup(table, s), scz_f, scz_r, c0
        v, s, wind = v_next, s_next, wind_next
        since, clock, n = since + dt, clock + dt, i + 1
    return out[:n]


@nb.njit(cache=True)
def _pedals(leg, phase, since, v, push):  # type: ignore[no-untyped-def]
    """Drive force and brake force [N]: full push up to the power limit, gone 0.1 s after lift-off; to hold a
    speed, the force for still air and a share of what the speed lacks."""
    if phase == DRIVE:
        return min(leg.push, leg.power / max(v, 1.0)) * min(since / 0.3, 1.0), 0.0
    if phase == COAST:
        return push * np.exp(-1.0 / RATE_HZ / 0.04) if since < 0.5 else 0.0, 0.0
    if phase == CRUISE:
        wanted = max(leg.cruise_push + CRUISE_GAIN_PER_S * leg.mass * (_target(leg, since) - v), 0.0)
        return push + (wanted - push) / (RATE_HZ * CRUISE_LAG_S), 0.0
    if phase == BRAKE:
        return 0.0, leg.brake * min(since / 0.2, 1.0)
    return 0.0, 0.0


@nb.njit(cache=True)
def _bend_axles(leg, table, motion, wind, held):  # type: ignore[no-untyped-def]
    """Downforce areas of the axles as they ride now. held: controls, SCz_front, SCz_rear of the last step."""
    (v, s), (controls, scz_f, scz_r) = motion, held
    q, _ = aero(leg, v, wind[0], wind[1])
    a = _rate(leg, table, motion, wind, controls)
    slope = leg.direction * _lookup(table, s)
    transfer = (leg.mass * (a + GRAVITY * slope) * leg.cg_height + leg.spin * a) / leg.wheelbase
    front = (q * scz_f - transfer) / leg.front_rate - leg.front_lift * v * v
    rear = (q * scz_r + transfer) / leg.rear_rate - leg.rear_lift * v * v - leg.rear_squat * controls[0]
    bent_f = leg.scz_front * (1.0 + leg.bend_front * (front - leg.front_sink))
    bent_r = leg.scz_rear * (1.0 + leg.bend_rear * (rear - leg.rear_sink))
    return max(bent_f, 0.0), max(bent_r, 0.0)


@nb.njit(cache=True)
def _wind(leg, gust, clock):  # type: ignore[no-untyped-def]
    """Head wind on the car and cross wind: the slow part and the gusts, turned into the travel direction."""
    strength = np.exp(leg.intermittency * gust[3] - leg.intermittency**2)
    slow = np.sqrt(1.0 - leg.fast_share)
    fast = np.sqrt(leg.fast_share)
    along = leg.gust_sigma * strength * (slow * gust[0] + fast * gust[1])
    head = leg.direction * (leg.slow_head + leg.slow_head_slope * clock + along)
    return head, leg.slow_cross + leg.cross_sigma * strength * gust[2]


@nb.njit(cache=True)
def _advance_gust(leg, gust, kick, airspeed, dt):  # type: ignore[no-untyped-def]
    """x' = ρx + √(1−ρ²) n with ρ = exp(−dt/τ), or exp(−U dt/ℓ) where gusts have a length."""
    share = airspeed * dt / leg.gust_length if leg.in_length else dt / leg.gust_time
    for k, times in ((0, 1.0), (1, 8.0), (2, 1.0), (3, 0.15)):
        rho = np.exp(-share * times)
        gust[k] = rho * gust[k] + np.sqrt(1.0 - rho * rho) * kick[k]
