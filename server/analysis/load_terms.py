"""The terms that rows of axle loads are put together from: motion, columns, and a quantity with its derivatives."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from server.analysis.axle_spring import AxleSpring
from server.analysis.load_data import own_count
from server.analysis.result import AxleEnd
from server.testday.values import Car, FloatArray

ENDS: tuple[AxleEnd, AxleEnd] = ("front", "rear")
FRICTION_COLOUR: Mapping[AxleEnd, int] = {"front": 1, "rear": 2}  # place among the filter's coloured errors
SIDE_OF = {"front": -1.0, "rear": 1.0}


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """The car's motion at the nodes where the model is linearised; arrays (n,), matrices (n, columns).

    speed, air_speed [m/s]; half_density: ½ρ [kg/m³]; accel = a v + b g + forcing·(1, θ): a, b, forcing;
    mass [kg]; slope: γ in the direction of travel; drive_n: drive force of constant-speed passes, else 0,
    drive_by: its derivatives by column;
    way: sign of the pass's own wind in U; relative_density: ρ over the day's nominal; away_h: hours from the
    weather's readings.
    """

    speed: FloatArray
    air_speed: FloatArray
    half_density: FloatArray
    a: FloatArray
    b: FloatArray
    forcing: FloatArray
    mass: FloatArray
    slope: FloatArray
    drive_n: FloatArray
    drive_by: FloatArray
    way: FloatArray
    relative_density: FloatArray
    away_h: FloatArray

    @property
    def accel(self) -> FloatArray:
        """dv/dt without gusts [m/s²], (n,)."""
        return np.asarray(self.a * self.speed + self.forcing[:, 0])


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Where things stand in the model: prior u per shared parameter, index of a name or None, count of shared
    parameters, load kinds in the order of the passes' own zero columns, value by name."""

    u: FloatArray
    index: Callable[[str], int | None]
    kinds: tuple[int, ...]
    value: Mapping[str, float]

    def get(self, name: str) -> float:
        """Value of a parameter, 0 where the day has none of this name."""
        return self.value.get(name, 0.0)

    @property
    def wind(self) -> int:
        """Column of the pass's own wind."""
        return 1 + len(self.u)

    def zero(self, kind: int) -> int:
        """Column of the pass's own zero of a source."""
        return self.wind + 2 + self.kinds.index(kind)

    def drift(self, kind: int) -> int:
        """Column of that zero's drift within the pass."""
        return self.wind + 2 + len(self.kinds) + self.kinds.index(kind)

    @property
    def width(self) -> int:
        """Number of columns, offset and the pass's own included."""
        return self.wind + own_count(self.kinds)


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """A quantity at every node and its derivatives: value (n,), by speed and gust (n,), by column (n, width)."""

    value: FloatArray
    by_speed: FloatArray
    by_gust: FloatArray
    by_column: FloatArray

    def scaled(self, factor: FloatArray | float) -> Linear:
        """The quantity times a known factor."""
        factor = np.asarray(factor, dtype=float)
        wide = factor[:, None] if factor.ndim else factor
        return Linear(self.value * factor, self.by_speed * factor, self.by_gust * factor, self.by_column * wide)

    def plus(self, other: Linear) -> Linear:
        """The sum of two."""
        return Linear(
            self.value + other.value,
            self.by_speed + other.by_speed,
            self.by_gust + other.by_gust,
            self.by_column + other.by_column,
        )


@dataclass(frozen=True, slots=True)
class LoadContext:
    """What a day's load rows need besides motion and columns."""

    car: Car
    springs: Mapping[AxleEnd, AxleSpring | None]
    setup_names: tuple[str, ...]
    reference_speed_mps: float
    reference_density_kgm3: float

    @property
    def reference_pressure_pa(self) -> float:
        """Dynamic pressure of the reference condition [Pa]."""
        return 0.5 * self.reference_density_kgm3 * self.reference_speed_mps**2
