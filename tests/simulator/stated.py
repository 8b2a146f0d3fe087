"""What the day's file states, and the truth drawn from it.

The truth of an input is Normal(stated value, u), cut to what is physical: that is what 'drawn from what the
day's file states' means. On days of fixed truth the stated value is drawn about the truth instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.testday.values import Quantity, Source

TRIES = 10_000


@dataclass(frozen=True, slots=True)
class Known:
    """An input: what the file says and what is true."""

    stated: Quantity
    true: float

    @property
    def z(self) -> float:
        """How many u the truth lies above the stated value."""
        return (self.true - self.stated.value) / self.stated.u if self.stated.u > 0.0 else 0.0


@dataclass(frozen=True, slots=True)
class Drawer:
    """Draws inputs from one random stream. fixed: the first argument is the truth, not the stated value."""

    rng: np.random.Generator
    fixed: bool = False

    def known(self, value: float, u: float, low: float = -np.inf, source: Source = "typed") -> Known:
        """An input whose centre is `value`, with standard uncertainty u, both numbers at or above `low`."""
        other = self._cut_normal(value, u, low)
        if self.fixed:
            return Known(Quantity(other, u, source), value)
        return Known(Quantity(value, u, source), other)

    def uniform(self, low: float, high: float, when_fixed: float) -> float:
        """A centre: uniform, or the stated figure on days of fixed truth."""
        drawn = float(self.rng.uniform(low, high))
        return when_fixed if self.fixed else drawn

    def _cut_normal(self, value: float, u: float, low: float) -> float:
        for _ in range(TRIES):
            drawn = float(value + u * self.rng.standard_normal())
            if drawn >= low:
                return drawn
        raise ValueError(f"value {value} with u {u} hardly ever reaches low {low}")
