"""The whole chain gives its own truth back: logged speeds, true side conditions, an energy balance a pass."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.day import HostileDay, draw_day
from tests.simulator.drive import TrueLeg
from tests.simulator.scenario import Scenario

GRAVITY = 9.80665


def logged_speed(hostile: HostileDay, run: int, role: str) -> tuple[np.ndarray, np.ndarray]:
    """A speed channel with its delay and scale taken off by the truth."""
    signal = hostile.day.runs[run].recordings[0].signals[role]
    if role == "gps_speed":
        return signal.time_s - hostile.truth["satellite_delay"], signal.values
    speed = signal.values / hostile.truth["wheel_scale"]
    return signal.time_s, speed * (1.0 + hostile.truth["wheel_growth"] * speed**2)


def drag_area(leg: TrueLeg, time_s: np.ndarray, speed: np.ndarray) -> float:
    """SCx from ½ m_e (v1² − v2²) less the work of everything else, over the work of ½ρU² [m²]."""
    x, t = leg.inputs, leg.time_s[leg.coasting][200:]
    near = (time_s > t[0] - 3.0) & (time_s < t[-1] + 0.5)
    v = np.interp(t, time_s[near], speed[near])
    edges = [
        np.polynomial.Polynomial.fit(t[k], v[k], 2)(t[j])
        for k, j in ((slice(0, 300), 0), (slice(-300, None), -1))
    ]
    head, cross = (leg.column(c)[leg.coasting][200:] for c in ("head", "cross"))
    q = 0.5 * x.density * ((v + head) ** 2 + cross**2)
    beta = np.arctan2(cross, v + head)
    rolling = (leg.column("c0")[leg.coasting][200:] + x.c1 * v) * (
        x.mass * GRAVITY + q * (x.scz_front + x.scz_rear)
    )
    slope = x.direction * x.mass * GRAVITY * leg.column("grade")[leg.coasting][200:]
    lost = 0.5 * (x.mass + x.rotating) * (edges[0] ** 2 - edges[1] ** 2)
    other = np.trapezoid((rolling + x.T0 + x.T1 * v + slope) * v, t)
    return float((lost - other) / np.trapezoid(q * (1.0 + x.yaw_factor * beta**2) * v, t))


@pytest.mark.parametrize("role", ["gps_speed", "wheel_speed_fl"])
def test_a_balance_of_energy_gives_the_drag_area_back(role: str) -> None:
    errors = []
    for seed in range(16):
        hostile = draw_day(seed, Scenario(pairs=2, wind="gusty" if seed % 2 else "calm"))
        truth = hostile.truth["setups"]["A"]["SCx"]
        for k, run in enumerate(hostile.runs):
            signal = logged_speed(hostile, k, role)
            errors += [drag_area(leg, *signal) / truth - 1.0 for leg in run.legs]
    # gusts and slopes are known here: what is left is the noise of the speed at both ends
    assert np.mean(errors) == pytest.approx(0.0, abs=0.003)
    assert np.std(errors) < 0.015
    assert len(errors) == 64
