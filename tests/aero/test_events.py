"""Simple stretches of a course: closed forms, numbers that a person can check."""

from __future__ import annotations

import math

import numpy as np
import pytest

from server.aero.constants import STANDARD_GRAVITY as G
from server.aero.events import (
    air_energy,
    circle_time,
    cornering_speed,
    slalom_length,
    slalom_radius,
    standing_start_time,
)

BARE = {
    "mass_kg": 300.0, "power_w": 1e9, "friction": 1.2, "driven_share": 1.0, "transfer": 0.0, "resistance": 0.0,
    "density_kgm3": 1.2, "drag_area_m2": 0.0, "driven_downforce_area_m2": 0.0, "downforce_area_m2": 0.0,
}  # fmt: skip


def test_without_downforce_a_corner_is_friction_times_g() -> None:
    """μ 1.5, R 9.125 m: v = √(1.5 · 9.80665 · 9.125) = 11.586 m/s, once round in 4.949 s (by hand)."""
    speed = cornering_speed(9.125, 300.0, 1.5, 1.2, 0.0)
    assert speed == pytest.approx(11.586, abs=5e-4)
    assert circle_time(9.125, speed) == pytest.approx(4.9486, abs=5e-4)


def test_the_cornering_speed_fulfils_its_equation() -> None:
    v = float(cornering_speed(9.125, 300.0, 1.5, 1.2, 3.3))
    assert 300.0 * v**2 / 9.125 == pytest.approx(1.5 * (300.0 * G + 0.5 * 1.2 * v**2 * 3.3))
    assert v > float(cornering_speed(9.125, 300.0, 1.5, 1.2, 0.0))
    assert math.isinf(float(cornering_speed(400.0, 300.0, 1.5, 1.2, 3.3)))


def test_grip_alone_accelerates_evenly() -> None:
    """x = ½ μ g t²: 75 m at 11.768 m/s² take 3.570 s (by hand)."""
    assert standing_start_time(75.0, **BARE) == pytest.approx(math.sqrt(150.0 / (1.2 * G)), abs=1e-3)  # type: ignore[arg-type]


def test_transfer_to_the_driven_axle_is_that_of_its_own_acceleration() -> None:
    """a = μ g s/(1 − μ h/L): s 0.525, h/L 0.185, μ 1.2 → 7.941 m/s² (by hand)."""
    given = BARE | {"driven_share": 0.525, "transfer": 0.185}
    assert standing_start_time(75.0, **given) == pytest.approx(math.sqrt(150.0 / 7.9412), abs=2e-3)  # type: ignore[arg-type]


def test_power_alone_ends_as_the_cube_root() -> None:
    """With grip to spare P t = ½ m v² and x = (8 P/(9 m))^½ t^1.5: t = (75 / √(8 · 60000/(9 · 300)))^⅔."""
    given = BARE | {"power_w": 60_000.0, "friction": 40.0}
    wanted = (75.0 / math.sqrt(8.0 * 60_000.0 / (9.0 * 300.0))) ** (2.0 / 3.0)
    assert standing_start_time(75.0, **given) == pytest.approx(wanted, rel=0.01)  # type: ignore[arg-type]


def test_drag_slows_and_arrays_are_broadcast() -> None:
    times = standing_start_time(75.0, **(BARE | {"power_w": 60_000.0, "drag_area_m2": np.array([0.0, 1.5])}))  # type: ignore[arg-type]
    assert times.shape == (2,)
    assert times[1] > times[0]
    assert np.isnan(standing_start_time(75.0, **(BARE | {"power_w": 10.0})))  # type: ignore[arg-type]


def test_the_slaloms_path() -> None:
    """y = A sin(πx/p): length and largest curvature by numbers."""
    x = np.linspace(0.0, 10.0, 100_001)
    y = 0.9 * np.sin(np.pi * x / 10.0)
    assert slalom_length(10.0, 0.9) == pytest.approx(float(np.sum(np.hypot(np.diff(x), np.diff(y)))), rel=5e-4)
    assert slalom_radius(10.0, 0.9) == pytest.approx(1.0 / (0.9 * (np.pi / 10.0) ** 2))


def test_energy_against_the_air() -> None:
    """½ · 1.2 · 16² · 1.5 · 22000 = 5.069 MJ (by hand)."""
    assert air_energy(22_000.0, 16.0, 1.2, 1.5) == pytest.approx(5.0688e6)
