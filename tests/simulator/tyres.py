"""Rolling resistance from pass to pass: warm-up per outing, slow change over the day, scatter.

The profile is centred: its mean over the day's coast-downs is nil, so that the c0 that the file states is
the c0 of the tyres as they were tested.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TyreLaw:
    """All relative to c0: warm amplitude and time [s] per outing, change per hour, sd from pass to pass."""

    warm: float
    warm_time_s: float
    per_hour: float
    scatter: float


def draw_tyre_law(rng: np.random.Generator) -> TyreLaw:
    return TyreLaw(
        warm=float(rng.uniform(0.0, 0.10)),
        warm_time_s=float(rng.uniform(100.0, 300.0)),
        per_hour=float(rng.uniform(-0.03, 0.02)),
        scatter=float(rng.uniform(0.0, 0.03)),
    )


def pass_factors(
    law: TyreLaw,
    rng: np.random.Generator,
    start_s: FloatArray,
    outing_s: FloatArray,
    coasts: NDArray[np.bool_],
) -> tuple[FloatArray, FloatArray]:
    """Per leg: the steady factor on c0 and the warm-up amplitude at the start of its leg (shape (n,) each).

    start_s: clock at the start of each leg; outing_s: clock when its outing left the pits; coasts: which
    legs are coast-downs.
    """
    warm_at = law.warm * np.exp(-(start_s - outing_s) / law.warm_time_s)
    coasting = law.warm * np.exp(-(start_s + 18.0 - outing_s) / law.warm_time_s)
    slow = law.per_hour * (start_s - start_s[coasts].mean()) / 3600.0
    scatter = law.scatter * rng.standard_normal(start_s.size)
    return 1.0 + slow + scatter - coasting[coasts].mean(), warm_at
