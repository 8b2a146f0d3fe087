"""Made-up tests of the standing car: what wheels on stands and loaded axles show a logger."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from server.testday.values import (
    Axle,
    AxleLoading,
    Car,
    Day,
    LogFile,
    Quantity,
    Recording,
    Signal,
    SpinDown,
    WeatherReading,
)

FloatArray = NDArray[np.float64]
AXLE = Axle(
    axle_inertia_kgm2=Quantity(0.42, 0.042),
    tyre_radius_m=Quantity(0.23, 0.001),
    spring_rate_n_per_m=Quantity(40_000.0, 400.0),
    motion_ratio=Quantity(0.9, 0.009),
    joint_friction_n=Quantity(5.0, 2.0),
)
CAR = Car(
    name="made up",
    mass_kg=Quantity(236.0, 0.5),
    wheelbase_m=Quantity(1.55, 0.005),
    front_weight=Quantity(0.48, 0.005),
    cg_height_m=Quantity(0.29, 0.02),
    driveline_drag_n=Quantity(5.0, 4.0, "default"),
    driveline_drag_n_per_mps=Quantity(0.25, 0.2, "default"),
    rolling_c0=Quantity(0.02, 0.002),
    rolling_c1_s_per_m=Quantity(0.0002, 0.0001),
    front=AXLE,
    rear=AXLE,
)


def day(car: Car = CAR, spin_downs: tuple[SpinDown, ...] = (), loadings: tuple[AxleLoading, ...] = ()) -> Day:
    """A day with nothing but its stand tests."""
    air = WeatherReading(None, Quantity(100_900.0, 100.0), Quantity(290.0, 1.0), Quantity(0.5, 0.1))
    return Day("made up", None, car, (air,), (), (), spin_downs=spin_downs, axle_loadings=loadings)


def wheel(speed_mps: FloatArray, time_s: FloatArray, step_mps: float = 0.0, offset: float = 0.0) -> Signal:
    """A wheel's speed as a counter shows it: in whole steps."""
    shown = np.round((speed_mps + offset) / step_mps) * step_mps if step_mps else speed_mps
    return Signal(time_s, shown, "wheel")


def run_down(
    t0_n: float,
    t1_n_per_mps: float,
    *,
    inertia_kgm2: float = 0.42,
    radius_m: float = 0.23,
    start_mps: float = 25.0,
    force_noise: FloatArray | None = None,
    rate_hz: float = 100.0,
    length_s: float = 60.0,
) -> tuple[FloatArray, FloatArray]:
    """Times [s] and speeds [m/s] of wheels left to run down to a stop: J/r² dv/dt = −(T0 + T1 v + noise)."""
    step = 1.0 / rate_hz
    time = np.arange(round(length_s * rate_hz)) * step
    mass = inertia_kgm2 / radius_m**2
    noise = np.zeros(len(time)) if force_noise is None else force_noise
    speed = np.empty(len(time))
    v = start_mps
    for i in range(len(time)):
        speed[i] = v
        middle = v - 0.5 * step * (t0_n + t1_n_per_mps * v + noise[i]) / mass
        v = max(v - step * (t0_n + t1_n_per_mps * middle + noise[i]) / mass, 0.0)
    return time, speed


def spin_down(time_s: FloatArray, speed_mps: FloatArray, **options: float) -> SpinDown:
    """A spin-down with both rear wheels logged."""
    signals = {
        f"wheel_speed_r{side}": wheel(speed_mps, time_s, options.get("step_mps", 0.0), shift)
        for side, shift in (("l", 0.0), ("r", 0.37 * options.get("step_mps", 0.0)))
    }
    return SpinDown(LogFile("stand.csv"), recording=Recording("stand.csv", signals))


def standing(bare: float, loaded: float, noise: float = 0.0, drawn: int = 0) -> Signal:
    """A sensor of the standing car: 10 s bare, the mass put on, 20 s loaded."""
    time = np.arange(3000) / 100.0
    value = np.interp(time, [0.0, 12.0, 15.0, 30.0], [bare, bare, loaded, loaded])
    return Signal(time, value + noise * np.random.default_rng(drawn).standard_normal(len(time)), "sensor")


def loaded(signals: dict[str, Signal], axle: str = "front", **more) -> AxleLoading:
    """An axle's loading with these sensors."""
    return loading(axle, recording=Recording("stand.csv", signals), **more)


def loading(axle: str = "front", **more) -> AxleLoading:
    """An axle's loading without recording."""
    made = AxleLoading(
        axle="rear" if axle == "rear" else "front",
        mass_kg=Quantity(40.0, 0.1),
        log=LogFile("stand.csv"),
        bare_s=(0.0, 10.0),
        loaded_s=(20.0, 30.0),
        share=Quantity(1.0, 0.0),
    )
    return replace(made, **more)
