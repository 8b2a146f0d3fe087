"""What the loggers write of a driven run: sensor errors, delays and rates."""

from __future__ import annotations

import math

import numpy as np

from server.analysis.simulate_drive import Drive, sample_times
from server.analysis.simulate_plan import InstrumentPlan, SimulationPlan
from server.analysis.simulate_suspension import suspension_signals
from server.analysis.simulate_truth import TrueDay, ornstein_uhlenbeck
from server.testday.values import FloatArray, Signal

EARTH_RADIUS_M = 6_371_008.8  # mean radius, IUGG
FULL_BRAKE_PA = 4.0e6
TRACK_M = 1.2
STANDSTILL_S = 0.3
POSITION_WANDER_S = 60.0


def record(
    drive: Drive,
    plan: SimulationPlan,
    truth: TrueDay,
    rng: np.random.Generator,
    setup: str,
) -> dict[str, Signal]:
    """Role → signal in SI on the run's clock. Wheel speeds come from the undriven wheels."""
    signals = wheel_signals(drive, plan, truth, rng)
    signals.update(_satellite_signals(drive, plan, truth, rng))
    signals.update(_pedal_signals(drive, plan.instruments, rng))
    signals.update(suspension_signals(drive, plan, truth, setup, rng))
    return signals


def wheel_signals(drive: Drive, plan: SimulationPlan, truth: TrueDay, rng: np.random.Generator) -> dict[str, Signal]:
    """Speeds of two undriven wheels (the front ones where all are driven) by timing a pulse wheel's teeth.

    Between two samples the last teeth are n apart and Δt by the timer: speed = n · pitch / Δt. The pitch has
    scatter, the same every turn, and the radius is not what the logger was told and grows with speed.
    """
    instruments = plan.instruments
    if instruments.wheel_rate_hz <= 0.0:
        return {}
    axle = 1 if plan.car.driven == "front" else 0
    ends = (("fl", "fr"), ("rl", "rr"))[axle]
    radius = truth.car.tyre_radius_m[axle]
    turn = np.gradient(drive.angle_rad, drive.time_s)
    samples = sample_times(drive, instruments.wheel_rate_hz)
    signals = {}
    for wheel, side in zip(ends, (-0.5, 0.5), strict=True):
        # a logger's km/h is ω times the radius it was told: that of the true wheel times the drawn scale
        speed = np.maximum(drive.speed_mps + side * TRACK_M * turn, 0.0)
        rolling = radius * (1.0 + truth.wheel_growth * (speed / 30.0) ** 2)
        turned = np.concatenate([[0.0], np.cumsum(0.5 * np.diff(drive.time_s) * _pair_sums(speed / rolling))])
        turned += 2.0 * math.pi * float(rng.random())
        omega = _toothed(drive.time_s + truth.wheel_delay_s, turned, samples, instruments, rng)
        signals[f"wheel_speed_{wheel}"] = Signal(samples, omega * radius * truth.wheel_scale)
    return signals


def _toothed(
    time: FloatArray,
    turned: FloatArray,
    samples: FloatArray,
    instruments: InstrumentPlan,
    rng: np.random.Generator,
) -> FloatArray:
    """Wheel rate [rad/s] at the sample times from the times at which the teeth went by."""
    pitch = 2.0 * math.pi / instruments.teeth
    errors = instruments.pitch_error_rel * pitch * rng.standard_normal(instruments.teeth)
    first, last = math.ceil(turned[0] / pitch), math.floor(turned[-1] / pitch)
    numbers = np.arange(first, last + 1)
    passed = np.interp(numbers * pitch + errors[numbers % instruments.teeth], turned, time)
    passed = np.maximum.accumulate(np.round(passed / instruments.timer_s) * instruments.timer_s)
    newest = np.maximum(np.searchsorted(passed, samples, side="right") - 1, 0)
    fresh = np.flatnonzero(np.diff(newest, prepend=newest[0]))
    count = np.diff(newest[fresh], prepend=newest[0])
    elapsed = np.diff(passed[newest[fresh]], prepend=passed[newest[0]])
    measured = np.concatenate([[0.0], count * pitch / np.maximum(elapsed, instruments.timer_s)])
    holding = measured[np.searchsorted(fresh, np.arange(len(samples)), side="right")]
    return np.where(samples - passed[newest] > STANDSTILL_S, 0.0, holding)


def _satellite_signals(
    drive: Drive, plan: SimulationPlan, truth: TrueDay, rng: np.random.Generator
) -> dict[str, Signal]:
    instruments, signals = plan.instruments, {}
    heading_out = plan.venue.heading_rad or 0.0
    if instruments.satellite_rate_hz > 0.0:
        time = sample_times(drive, instruments.satellite_rate_hz)
        seen = time - truth.satellite_delay_s
        speed = np.interp(seen, drive.time_s, drive.speed_mps)
        error = instruments.satellite_noise_mps * rng.standard_normal(len(time))
        step, colour = 1.0 / instruments.satellite_rate_hz, instruments.satellite_colour_mps
        error += ornstein_uhlenbeck(len(time), step, colour, instruments.satellite_colour_s, rng)
        signals["gps_speed"] = Signal(time, np.abs(speed + error))
        wander = math.radians(2.0) / np.maximum(speed, 0.5) * rng.standard_normal(len(time))
        heading = heading_out - np.interp(seen, drive.time_s, drive.angle_rad) + wander
        signals["heading"] = Signal(time, np.mod(heading, 2.0 * math.pi))
    if instruments.position_rate_hz > 0.0:
        time = sample_times(drive, instruments.position_rate_hz)
        signals.update(_positions(drive, time, plan, truth, rng))
    return signals


def _positions(
    drive: Drive,
    time: FloatArray,
    plan: SimulationPlan,
    truth: TrueDay,
    rng: np.random.Generator,
) -> dict[str, Signal]:
    heading_out = plan.venue.heading_rad or 0.0
    seen = time - truth.satellite_delay_s
    ahead = np.interp(seen, drive.time_s, drive.position_m)
    left = np.interp(seen, drive.time_s, drive.offset_m)
    step, noise = 1.0 / plan.instruments.position_rate_hz, plan.instruments.position_noise_m
    east = ahead * math.sin(heading_out) - left * math.cos(heading_out)
    east += ornstein_uhlenbeck(len(time), step, noise, POSITION_WANDER_S, rng)
    north = ahead * math.cos(heading_out) + left * math.sin(heading_out)
    north += ornstein_uhlenbeck(len(time), step, noise, POSITION_WANDER_S, rng)
    latitude, longitude = plan.origin_rad
    return {
        "latitude": Signal(time, latitude + north / EARTH_RADIUS_M),
        "longitude": Signal(time, longitude + east / (EARTH_RADIUS_M * math.cos(latitude))),
    }


def _pedal_signals(drive: Drive, instruments: InstrumentPlan, rng: np.random.Generator) -> dict[str, Signal]:
    if instruments.pedal_rate_hz <= 0.0:
        return {}
    time = sample_times(drive, instruments.pedal_rate_hz)
    index = np.minimum(np.searchsorted(drive.time_s, time + 1e-9, side="right") - 1, len(drive.time_s) - 1)
    throttle = np.clip(drive.throttle[index] + 0.002 * rng.standard_normal(len(time)), 0.0, 1.0)
    pressure = FULL_BRAKE_PA * drive.brake[index] + 8e3 * rng.standard_normal(len(time))
    return {"throttle": Signal(time, throttle), "brake_pressure": Signal(time, np.maximum(pressure, 0.0))}


def _pair_sums(values: FloatArray) -> FloatArray:
    return values[1:] + values[:-1]
