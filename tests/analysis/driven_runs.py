"""Made-up runs whose every second is known: stand, drive, hold, lift, coast, then brake, rest or drive on.

A point mass with rolling and air resistance, gusts and slope, driven by a script; the script's true stretches
are kept beside the channels. Written for the pass finder alone and without any of the product's own physics.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from server.testday.values import Axle, Car, LogFile, Quantity, Recording, Run, Signal

STEP_S = 0.04
G = 9.81


@dataclass(frozen=True)
class Stretch:
    kind: str
    start_s: float
    end_s: float
    direction: int


@dataclass
class Body:
    mass_kg: float = 310.0
    rotating_kg: float = 8.0
    c0: float = 0.02
    c1: float = 0.00012
    drag_area_m2: float = 1.4
    grade: float = 0.0
    wind_mps: float = 0.0
    gust_sigma_mps: float = 0.0
    gust_time_s: float = 5.0
    engine_brake_n: float = 0.0
    engine_brake_n_per_mps: float = 0.0


@dataclass
class Driven:
    """Truth on the fine clock; `stretches` are the script's phases."""

    time_s: np.ndarray
    speed: np.ndarray
    throttle: np.ndarray
    brake: np.ndarray
    engaged: np.ndarray
    heading: np.ndarray
    x: np.ndarray
    y: np.ndarray
    torque: np.ndarray
    stretches: list[Stretch] = field(default_factory=list)

    def coasts(self) -> list[Stretch]:
        return [s for s in self.stretches if s.kind == "coast"]


Phase = tuple[str, dict[str, float]]


def drive(script: list[Phase], body: Body, rng: np.random.Generator, heading: float = 0.0) -> Driven:
    """Step through the script: ('stand', s), ('drive', a, to, soft), ('hold', s), ('coast', to, s),
    ('brake', a, to, soft), ('lift_in_gear', to), ('creep', s, v), ('turn', s, v)."""
    rows: list[tuple[float, ...]] = []
    stretches: list[Stretch] = []
    v = force = brake = gust = t = x = y = 0.0
    course, way = heading, 1
    decay = np.exp(-STEP_S / body.gust_time_s)
    kick = body.gust_sigma_mps * np.sqrt(1 - decay**2)
    inertia = body.mass_kg + body.rotating_kg
    for kind, how in script:
        begun, target = t, v
        free_from: float | None = None
        while True:
            since = t - begun
            wanted, press, yaw, engaged = 0.0, 0.0, 0.0, kind not in ("coast", "stand")
            if kind == "drive":
                wanted = how["a"] * inertia + _resist(body, v, 0.0)
                if "shift_s" in how and (since % how["shift_s"]) < 0.15 and since > 0.5:
                    wanted = 0.0
            elif kind in ("hold", "creep", "turn"):
                target = how.get("v", target)
                wobble = 0.15 * np.sin(2 * np.pi * since / 7.0)
                wanted = inertia * np.clip(1.2 * (target + wobble - v), -2.5, 2.5) + _resist(body, v, 0.0)
                press = max(0.0, -wanted) if wanted < 0 else 0.0
                wanted = max(wanted, 0.0)
                yaw = np.pi / how["s"] if kind == "turn" else 0.0
            elif kind == "brake":
                press = how["a"] * inertia
            elif kind == "stand":
                press = 3.0 * inertia
            soft = how.get("soft", 0.25)
            force = _towards(force, wanted, inertia * 5.0 * STEP_S / soft)
            brake = _towards(brake, press, inertia * 8.0 * STEP_S / (soft if press > brake else 0.08))
            gust = gust * decay + kick * rng.standard_normal()
            if kind == "coast" and force == 0.0 and brake == 0.0 and free_from is None:
                free_from = t
            retard = brake + _resist(body, v, body.wind_mps * way + gust) + way * body.grade * body.mass_kg * G
            if kind == "lift_in_gear":
                retard += body.engine_brake_n + body.engine_brake_n_per_mps * v
            a = (force - (retard if v > 0 or force > 0 else 0.0)) / inertia
            torque = force if force > 0 else (-body.engine_brake_n if kind == "lift_in_gear" and v > 0.5 else 0.0)
            rows.append((t, v, force, brake, float(engaged), course, x, y, torque))
            v = max(0.0, v + a * STEP_S)
            course += yaw * STEP_S
            x, y, t = x + v * np.sin(course) * STEP_S, y + v * np.cos(course) * STEP_S, t + STEP_S
            if _over(kind, how, v, t - begun):
                break
        if kind == "turn":
            way = -way
        start = free_from if kind == "coast" and free_from is not None else begun
        stretches.append(Stretch(kind, start, t, way))
    table = np.array(rows).T
    full = max(1.0, float(table[2].max()))
    return Driven(table[0], table[1], table[2] / full, table[3], table[4], table[5], table[6], table[7],
                  table[8], stretches)  # fmt: skip


def _resist(body: Body, v: float, wind: float) -> float:
    air = v + wind
    return (body.c0 + body.c1 * v) * body.mass_kg * G + 0.6 * body.drag_area_m2 * air * abs(air)


def _towards(now: float, wanted: float, most: float) -> float:
    return float(now + np.clip(wanted - now, -most, most))


def _over(kind: str, how: dict[str, float], v: float, since: float) -> bool:
    if kind == "drive":
        return v >= how["to"] or since > 60
    if kind in ("coast", "brake", "lift_in_gear"):
        return v <= how.get("to", 0.0) or since >= how.get("s", 90.0)
    return since >= how["s"]


def draw_body(rng: np.random.Generator) -> Body:
    return Body(
        mass_kg=rng.uniform(260, 380),
        rotating_kg=rng.uniform(5, 12),
        c0=rng.uniform(0.013, 0.03),
        c1=rng.uniform(0, 0.0003),
        drag_area_m2=rng.uniform(0.9, 1.9),
        grade=rng.uniform(-0.004, 0.004),
        wind_mps=rng.uniform(-2, 2),
        gust_sigma_mps=rng.uniform(0.1, 1.2),
        gust_time_s=rng.uniform(3, 30),
        engine_brake_n=rng.uniform(250, 600),
        engine_brake_n_per_mps=rng.uniform(5, 15),
    )


def draw_script(rng: np.random.Generator, coasts: int | None = None, in_gear: bool = False) -> list[Phase]:
    """A run of coast-downs with the things that happen between them."""
    script: list[Phase] = [("stand", {"s": rng.uniform(4, 12)})]
    for _ in range(coasts if coasts is not None else int(rng.integers(2, 5))):
        top = rng.uniform(15, 28)
        push: dict[str, float] = {"a": rng.uniform(1.5, 4.5), "to": top, "soft": rng.uniform(0.1, 0.5)}
        if rng.random() < 0.4:
            push["shift_s"] = rng.uniform(1.2, 2.5)
        script.append(("drive", push))
        if rng.random() < 0.5:
            script.append(("hold", {"s": rng.uniform(0.5, 4), "soft": 0.2}))
        soft = {"soft": rng.uniform(0.1, 0.5)}
        if in_gear:
            script.append(("lift_in_gear", {"to": rng.uniform(3, 8), "s": 40.0} | soft))
            script.append(("brake", {"a": rng.uniform(2, 8), "to": 2.0} | soft))
        else:
            ending = rng.choice(["brake", "rest", "throttle"], p=[0.55, 0.2, 0.25])
            low = 0.0 if ending == "rest" else rng.uniform(4, 0.6 * top)
            script.append(("coast", {"to": low, "s": 90.0} | soft))
            end_soft = {"soft": rng.uniform(0.1, 0.5)}
            if ending == "brake":
                script.append(("brake", {"a": rng.uniform(2, 8), "to": rng.choice([0.0, 3.0])} | end_soft))
            elif ending == "throttle":
                script.append(("drive", {"a": rng.uniform(1, 3), "to": low + rng.uniform(2, 5)} | end_soft))
                script.append(("brake", {"a": rng.uniform(2, 6), "to": 3.0, "soft": 0.3}))
            else:
                script.append(("stand", {"s": rng.uniform(3, 6)}))
        script.append(("turn", {"s": rng.uniform(6, 10), "v": rng.uniform(3, 4.5)}))
        if rng.random() < 0.3:
            script.append(("creep", {"s": rng.uniform(4, 10), "v": rng.uniform(5, 11)}))
        if rng.random() < 0.3:
            script.append(("brake", {"a": 3.0, "to": 0.0}))
            script.append(("stand", {"s": rng.uniform(3, 8)}))
    script.append(("stand", {"s": 4.0}))
    return script


def satellite_speed(truth: Driven, rng: np.random.Generator, rate_hz: float, sigma: float) -> Signal:
    """Speed with white and coloured noise (the coloured part 0.5 σ, 2 s long)."""
    time = np.arange(truth.time_s[0] + rng.uniform(0, 1 / rate_hz), truth.time_s[-1], 1 / rate_hz)
    slow = np.zeros(len(time))
    keep = np.exp(-1 / rate_hz / 2.0)
    kicks = rng.standard_normal(len(time)) * np.sqrt(1 - keep**2)
    for i in range(1, len(time)):
        slow[i] = keep * slow[i - 1] + kicks[i]
    speed = np.interp(time, truth.time_s, truth.speed)
    noise = 0.866 * sigma * rng.standard_normal(len(time)) + 0.5 * sigma * slow
    return Signal(time, np.abs(speed + noise), "gps_speed")


def wheel_speed(truth: Driven, rng: np.random.Generator, rate_hz: float, step_mps: float) -> Signal:
    """Speed in steps of the tooth count, with a once-per-turn error of 0.4 %, silent below 0.7 m/s."""
    time = np.arange(truth.time_s[0], truth.time_s[-1], 1 / rate_hz)
    speed = np.interp(time, truth.time_s, truth.speed)
    angle = np.cumsum(speed) / rate_hz / 0.23
    seen = speed * (1 + 0.004 * np.sin(angle)) + rng.uniform(-0.5, 0.5, len(time)) * step_mps
    seen = np.round(seen / step_mps) * step_mps
    return Signal(time, np.where(speed < 0.7, 0.0, seen), "wheel_speed_fl")


def with_dropouts(signal: Signal, rng: np.random.Generator, count: int, longest_s: float) -> Signal:
    keep = np.ones(len(signal.time_s), dtype=bool)
    for _ in range(count):
        start = rng.uniform(signal.time_s[0], signal.time_s[-1])
        keep &= ~((signal.time_s > start) & (signal.time_s < start + rng.uniform(0.3, longest_s)))
    return Signal(signal.time_s[keep], signal.values[keep], signal.name)


def with_spikes(signal: Signal, rng: np.random.Generator, count: int) -> Signal:
    values = signal.values.copy()
    where = rng.integers(5, len(values) - 5, count)
    values[where] += rng.choice([-1, 1], count) * rng.uniform(4, 12, count)
    return Signal(signal.time_s, values, signal.name)


def made_car(mass_kg: float = 238.0) -> Car:
    axle = Axle(Quantity(0.42, 0.05), Quantity(0.23, 0.002))
    return Car(
        name="made up",
        mass_kg=Quantity(mass_kg, 0.5),
        wheelbase_m=Quantity(1.54),
        front_weight=Quantity(0.48),
        cg_height_m=Quantity(0.28),
        driveline_drag_n=Quantity(6.0, 3.0),
        driveline_drag_n_per_mps=Quantity(0.3, 0.2),
        rolling_c0=Quantity(0.02, 0.006),
        rolling_c1_s_per_m=Quantity(0.0001, 0.0001),
        front=axle,
        rear=axle,
    )


def made_run(signals: dict[str, Signal], number: int = 1, **more: object) -> Run:
    recording = Recording(file="made-up.csv", signals=signals)
    return Run(
        number=number,
        setup="A",
        logs=(LogFile("made-up.csv"),),
        driver_mass_kg=Quantity(72.0, 0.5),
        recordings=(recording,),
        **more,  # type: ignore[arg-type]
    )


def fine(truth: Driven, values: np.ndarray, rate_hz: float, name: str) -> Signal:
    time = np.arange(truth.time_s[0], truth.time_s[-1], 1 / rate_hz)
    return Signal(time, np.interp(time, truth.time_s, values), name)
