"""A small network of one layer, fitted by its likelihood: what is kept is numbers alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from server.analysis.tuft_weights import FARTHEST

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Shape:
    """hidden: units of the layer from each start; rounds: of L-BFGS at most."""

    hidden: int
    penalty: float
    rounds: int = 300
    starts: int = 1


def fitted(told: FloatArray, true: NDArray[np.bool_], shape: Shape) -> dict[str, Any]:
    """The mean of networks from several starts, as one: odds = v · tanh(W z + b) + c, z scaled features.

    Least mean of −ln likelihood + penalty (Σ W² + Σ v²), by L-BFGS. Source: C. M. Bishop, Pattern Recognition and
    Machine Learning, sections 5.2 and 5.5 (from memory).
    """
    mean, scale = told.mean(axis=0), told.std(axis=0) + 1e-6
    z = np.clip((told - mean) / scale, -FARTHEST, FARTHEST).astype(np.float32)
    starts = shape.starts
    parts = [_one(z, true.astype(np.float32), shape, start) for start in range(starts)]
    return {
        "mean": mean, "scale": scale, "inner": np.concatenate([p[0] for p in parts], axis=1),
        "inner_offset": np.concatenate([p[1] for p in parts]),
        "outer": np.concatenate([p[2] for p in parts]) / starts, "offset": float(np.mean([p[3] for p in parts])),
    }  # fmt: skip


def _one(
    z: NDArray[np.float32], true: NDArray[np.float32], shape: Shape, seed: int
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    rng, columns = np.random.default_rng(seed), z.shape[1]
    hidden, penalty = shape.hidden, shape.penalty
    inner = columns * hidden

    def apart(flat: NDArray[np.floating]) -> tuple[Any, Any, Any, Any]:
        return flat[:inner].reshape(columns, hidden), flat[inner : inner + hidden], flat[inner + hidden : -1], flat[-1]

    def loss(flat: FloatArray) -> tuple[float, FloatArray]:
        w, b, v, c = apart(flat.astype(np.float32))
        layer = np.tanh(z @ w + b)
        o = layer @ v + c
        slope = (1.0 / (1.0 + np.exp(-o)) - true) / len(true)
        back = (slope[:, None] * v) * (1.0 - layer * layer)
        value = float(np.mean(np.logaddexp(0.0, o) - true * o) + penalty * ((w**2).sum() + (v**2).sum()))
        parts = ((z.T @ back + 2 * penalty * w).ravel(), back.sum(axis=0), layer.T @ slope + 2 * penalty * v)
        return value, np.concatenate([*parts, [slope.sum()]]).astype(float)

    start = np.concatenate([rng.normal(0, columns**-0.5, inner), np.zeros(hidden),
                            rng.normal(0, hidden**-0.5, hidden), [0.0]])  # fmt: skip
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": shape.rounds}).x
    w, b, v, c = apart(found)
    return w, b, v, float(c)


def odds(network: dict[str, Any], told: FloatArray) -> FloatArray:
    """Logarithms of the odds."""
    z = np.clip((told - network["mean"]) / network["scale"], -FARTHEST, FARTHEST)
    layer = np.tanh(z @ network["inner"] + network["inner_offset"])
    found: FloatArray = layer @ network["outer"] + network["offset"]
    return found


def rounded(network: dict[str, Any], names: Sequence[str]) -> dict[str, Any]:
    """As it is written: four digits are more than enough."""

    def short(value: Any) -> Any:
        return [short(each) for each in value] if np.ndim(value) else float(f"{float(value):.4g}")

    return {"names": list(names)} | {name: short(value) for name, value in network.items()}
