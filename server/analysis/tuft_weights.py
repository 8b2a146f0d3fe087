"""The weights by which bars are judged: small networks fitted to made-up photos, kept as text beside this file.

python -m tests.studies tuft-weights fits them anew.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from server.analysis.tuft_lines import FloatArray

WEIGHTS = "tuft_weights.json"
FARTHEST = 4.0  # standard deviations: beyond, a feature is as odd as that


@dataclass(frozen=True, slots=True, eq=False)
class Network:
    """One layer of tanh: odds = v · tanh(W z + b) + c, z = (x − mean)/scale within ±4, for features x by name."""

    names: tuple[str, ...]
    mean: FloatArray
    scale: FloatArray
    inner: FloatArray
    inner_offset: FloatArray
    outer: FloatArray
    offset: float

    def odds(self, told: FloatArray) -> FloatArray:
        """Logarithms of the odds, (n,), from (n, len(names))."""
        z = np.clip((told - self.mean) / self.scale, -FARTHEST, FARTHEST)
        hidden = np.tanh(z @ self.inner + self.inner_offset)
        found: FloatArray = hidden @ self.outer + self.offset
        return found


def judged(look: str, told: FloatArray) -> FloatArray:
    """Logarithms of the odds at the first or the second look."""
    return networks()[look].odds(told)


@cache
def networks() -> dict[str, Network]:
    """Those of both looks."""
    kept = json.loads(files("server.analysis").joinpath(WEIGHTS).read_text("utf-8"))
    return {look: _network(one) for look, one in kept.items()}


def _network(one: dict[str, Any]) -> Network:
    arrays = {name: np.array(one[name], float) for name in ("mean", "scale", "inner", "inner_offset", "outer")}
    return Network(names=tuple(one["names"]), offset=float(one["offset"]), **arrays)
