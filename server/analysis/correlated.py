"""What a correlation of measured with predicted says: frozen values, filled by `correlation`, drawn by figures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from server.analysis.result import Estimate
from server.inference.limits_of_agreement import Limits
from server.inference.rank_order import RankOrder
from server.inference.scatter_mean import CommonValue
from server.inference.two_error_line import ScatteredLine
from server.testday.values import FloatArray, Quantity

Verdict = Literal["agrees", "prediction-high", "prediction-low", "cannot-tell", "extrapolated"]
VERDICTS: tuple[Verdict, ...] = ("agrees", "prediction-high", "prediction-low", "cannot-tell", "extrapolated")
QUANTITIES = ("SCx", "SCz_front", "SCz_rear", "SCz", "balance_front", "LD")
NORMAL_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Margins:
    """By how much a team lets a prediction be off: total and change as shares of the measured value.

    numerical_correlation: of the numerical errors of two cases of one recipe, ρ; 0: independent.
    """

    total: float = 0.05
    change: float = 0.20
    numerical_correlation: float = 0.0


@dataclass(frozen=True, slots=True)
class Heights:
    """Ride heights [m] that a setup takes at the reference condition; None where nobody knows. how: in words."""

    front: Quantity | None
    rear: Quantity | None
    how: str


@dataclass(frozen=True, slots=True)
class Correlated:
    """A quantity of a setup, or its change against a baseline, measured (D) beside predicted (S): E = S − D.

    u_num: of mesh and iteration; u_fit: of telling the prediction between its cases; u_input: of the ride heights;
    u_D is the measured u; u_val² = u_num² + u_fit² + u_input² + u_D². margin: within which a prediction agrees.
    predicted is None where the verdict is 'extrapolated'. beyond: the interval of E lies outside the margin all over.
    how: how the prediction was told at the car's ride heights; notes: what was assumed.
    Source: ASME V&V 20-2009, u_val.
    """

    setup: str
    quantity: str
    unit: str
    measured: Estimate
    predicted: float | None
    u_num: float
    u_fit: float
    u_input: float
    margin: float
    verdict: Verdict
    beyond: bool = False
    against: str | None = None
    how: str = ""
    notes: tuple[str, ...] = ()

    @property
    def predicted_u(self) -> float:
        """u of all that belongs to the prediction."""
        return math.sqrt(self.u_num**2 + self.u_fit**2 + self.u_input**2)

    @property
    def E(self) -> float:  # noqa: N802 - the standard's symbol
        """Comparison error S − D; nan where nothing is predicted."""
        return math.nan if self.predicted is None else self.predicted - self.measured.value

    @property
    def u_val(self) -> float:
        """Validation uncertainty."""
        return math.hypot(self.predicted_u, self.measured.u)

    @property
    def z(self) -> float:
        """How many u_val E is off zero."""
        return abs(self.E) / self.u_val if self.u_val > 0.0 else math.inf

    @property
    def low95(self) -> float:
        """Lower end of E's interval."""
        return self.E - NORMAL_95 * self.u_val

    @property
    def high95(self) -> float:
        """Upper end of E's interval."""
        return self.E + NORMAL_95 * self.u_val

    @property
    def largest(self) -> str:
        """What u_val is made of most: 'measured', 'mesh', 'cases' or 'ride heights'."""
        parts = {"measured": self.measured.u, "mesh": self.u_num, "cases": self.u_fit, "ride heights": self.u_input}
        return max(parts, key=lambda name: parts[name])


@dataclass(frozen=True, slots=True)
class Silent:
    """A quantity of a setup that gets no verdict, and why."""

    setup: str
    quantity: str
    why: str


@dataclass(frozen=True, slots=True)
class MeasuredTap:
    """A pressure coefficient as a run gave it at a named tap: cp = (p − p∞)/(½ρU²), u its standard uncertainty."""

    setup: str
    tap: str
    cp: float
    u: float
    run: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class DayCorrelation:
    """A day's measurements beside predictions: totals, changes, and what could not be held against each other.

    heights: setup → where it was compared; told: sentences that hold for all of it.
    """

    totals: tuple[Correlated, ...]
    changes: tuple[Correlated, ...]
    silent: tuple[Silent, ...]
    heights: Mapping[str, Heights]
    margins: Margins
    told: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """One quantity of several setups, measured and predicted: (n,) each, covariance (n, n) of what was measured.

    setups: names, each once; u: of the predictions, independent of each other.
    """

    quantity: str
    unit: str
    setups: tuple[str, ...]
    measured: FloatArray
    covariance: FloatArray
    predicted: FloatArray
    predicted_u: FloatArray

    @property
    def measured_u(self) -> FloatArray:
        """u of each measured value."""
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True, slots=True, eq=False)
class Across:
    """What all setups say together of a quantity; None where there are too few, and `told` says how many it takes.

    bias: of E = S − D; relative: of E/D; factor: that brings predictions onto measurements, D = f S; each with the
    scatter of one setup about it. line: of predicted over measured, both in error. limits: of agreement, of E.
    order: is the order of the setups kept. left_out: RMS of E/D as predicted, and corrected by the factor that the
    other setups gave.
    """

    pairs: Pairs
    bias: CommonValue | None
    relative: CommonValue | None
    factor: CommonValue | None
    line: ScatteredLine | None
    limits: Limits | None
    order: RankOrder | None
    left_out: tuple[float, float] | None
    told: tuple[str, ...]
