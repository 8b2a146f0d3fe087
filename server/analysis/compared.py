"""What a comparison of setups says: differences judged together, and a quantity over a setting that was varied."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from server.analysis.result import DayResult
from server.testday.values import FloatArray, Setup

if TYPE_CHECKING:
    from server.inference.response import Optimum, Shape

NORMAL_95 = 1.959964
LEAST_SETTINGS = 3  # different ones, for a curve
LEAST_OVER_TWO = 6  # setups, for a surface over two settings


@dataclass(frozen=True, slots=True)
class Difference:
    """A difference setup − baseline in the quantity's own unit.

    low95, high95: its interval alone; low_all, high_all: intervals that all hold together with 95 %.
    p: of no difference; p_all: of a largest difference as large, among so many. smallest_seen: what the day would
    have seen four times of five. shared_u: what cancels of either u.
    """

    setup: str
    value: float
    u: float
    low95: float
    high95: float
    low_all: float
    high_all: float
    p: float
    p_all: float
    smallest_seen: float
    shared_u: float

    @property
    def verdict(self) -> str:
        """'higher', 'lower', or 'not told' apart from zero among all that were compared."""
        if self.low_all > 0.0:
            return "higher"
        return "lower" if self.high_all < 0.0 else "not told"


@dataclass(frozen=True, slots=True)
class Compared:
    """Every other setup against a baseline; factor: c of the joint intervals value ± c u."""

    quantity: str
    baseline: str
    unit: str
    factor: float
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Varied:
    """A quantity over one setting: the setups, where each stood, its value and u, and the quadratic through them.

    curve: setting, value and u along the curve, (n,) each, over what was tried; lack_p: how often points of such a
    curve lie as far off it; largest, smallest: its best places.
    """

    quantity: str
    setting: str
    setups: tuple[str, ...]
    at: FloatArray
    values: FloatArray
    u: FloatArray
    curve: tuple[FloatArray, FloatArray, FloatArray]
    lack_p: float
    largest: Optimum
    smallest: Optimum


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A quantity over two settings: the setups, where each stood (n, 2), and the quadratic surface through them.

    x, y: places of the first and second setting; surface, surface_u: value and u there, (len(y), len(x)), nan outside
    of the convex hull of what was tried; region: where its slope may be zero with 95 %; shape: what stands there.
    lack_p: how often points of such a surface lie as far off it; best: where it is largest or smallest by its shape;
    inside: whether that lies within what was tried.
    """

    quantity: str
    settings: tuple[str, str]
    setups: tuple[str, ...]
    at: FloatArray
    values: FloatArray
    u: FloatArray
    x: FloatArray
    y: FloatArray
    surface: FloatArray
    surface_u: FloatArray
    region: FloatArray
    shape: Shape
    lack_p: float
    best: Optimum | None
    inside: bool


def quantities_compared(result: DayResult) -> tuple[str, ...]:
    """Quantities that the result tells of two setups or more."""
    return tuple(name for name, joint in result.joint.items() if len(joint.setups) > 1)


def settings_of(setup: Setup) -> dict[str, str | float | bool]:
    """What can be varied of a setup: its parts, and the ride heights that it stands at."""
    heights = {"front_ride_height_mm": setup.front_ride_height_m, "rear_ride_height_mm": setup.rear_ride_height_m}
    return {**setup.parts, **{name: round(1000.0 * at, 3) for name, at in heights.items() if at is not None}}


def pairs_varied(settings: Mapping[str, Mapping[str, float]]) -> tuple[tuple[str, str], ...]:
    """Pairs of settings with enough setups at different places for a quadratic surface."""
    names = list(settings)
    pairs = [(one, two) for place, one in enumerate(names) for two in names[place + 1 :]]
    return tuple(pair for pair in pairs if _spans(settings[pair[0]], settings[pair[1]]))


def _spans(one: Mapping[str, float], two: Mapping[str, float]) -> bool:
    at = np.array([(one[setup], two[setup]) for setup in one])
    low, high = at.min(axis=0), at.max(axis=0)
    x, y = ((at - 0.5 * (low + high)) / (0.5 * (high - low))).T
    terms = np.column_stack([np.ones_like(x), x, y, x**2, x * y, y**2])
    return bool(np.linalg.matrix_rank(terms, tol=1e-6) == LEAST_OVER_TWO)


def varied_settings(parts: Mapping[str, Mapping[str, object]], setups: Sequence[str]) -> dict[str, dict[str, float]]:
    """Settings that are numbers in every one of the setups and differ between them: name → setup → number."""
    first = parts.get(setups[0], {}) if setups else {}
    names = [name for name in first if all(name in parts.get(setup, {}) for setup in setups)]
    found = {name: [parts[setup][name] for setup in setups] for name in names}
    return {
        name: {setup: float(value) for setup, value in zip(setups, values, strict=True)}  # type: ignore[arg-type]
        for name, values in found.items()
        if all(isinstance(value, int | float) and not isinstance(value, bool) for value in values)
        and len(set(values)) > 1
    }
