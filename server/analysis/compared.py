"""What a comparison of setups says: differences judged together, and a quantity over a setting that was varied."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.analysis.result import DayResult
from server.testday.values import FloatArray

if TYPE_CHECKING:
    from server.inference.response import Optimum

NORMAL_95 = 1.959964
LEAST_SETTINGS = 3  # different ones, for a curve


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


def quantities_compared(result: DayResult) -> tuple[str, ...]:
    """Quantities that the result tells of two setups or more."""
    return tuple(name for name, joint in result.joint.items() if len(joint.setups) > 1)


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
