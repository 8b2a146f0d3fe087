"""Axle loads thinned for drawing: means over bands of dynamic pressure or load, pass by pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.analysis.result import AxleLoadFit, DayResult, LoadSource, PassFit
from server.figures.fits import AXLES, loads_of
from server.testday.values import FloatArray

PRESSURE_BANDS = 24
LOAD_BANDS = 12
SMOOTHED_OVER = 5  # readings, before rising is told from falling
LEAST_READINGS = 2


@dataclass(frozen=True, slots=True)
class LoadPoint:
    """Means over one band of one pass: pressure [Pa]; loads [N]; sink since standing [m]; speed [m/s]."""

    speed_mps: float
    pressure_pa: float
    load_n: float
    fitted_n: float
    friction_n: float
    sink_m: float


@dataclass(frozen=True, slots=True)
class PassLoads:
    """One pass's points on one axle by one source."""

    setup: str
    fit: PassFit
    load: AxleLoadFit
    points: tuple[LoadPoint, ...]


def banded(load: AxleLoadFit, over: FloatArray, width: float, keep: FloatArray | None = None) -> list[LoadPoint]:
    """Means of the finite readings in bands of `over`, `width` wide; keep: (n,) which readings count."""
    columns = [load.speed_mps, load.pressure_pa, load.load_n, load.fitted_n, load.friction_n, load.sink_m]
    usable = np.all(np.isfinite(columns), axis=0) & np.isfinite(over)
    if keep is not None:
        usable &= keep.astype(bool)
    bands = np.floor(over[usable] / width).astype(int)
    values = np.array(columns)[:, usable]
    found = [values[:, bands == one] for one in np.unique(bands)]
    return [LoadPoint(*map(float, one.mean(axis=1))) for one in found if one.shape[1] >= LEAST_READINGS]


def over_pressure(result: DayResult, source: LoadSource) -> list[PassLoads]:
    """Every pass's load in bands of dynamic pressure, both axles."""
    most = _most(result, source, "pressure_pa")
    return [
        PassLoads(setup.name, fit, load, tuple(banded(load, load.pressure_pa, most / PRESSURE_BANDS)))
        for setup in result.setups
        for axle in AXLES
        for fit, load in loads_of(setup, axle, source)
    ]


def rising(load: AxleLoadFit) -> FloatArray:
    """Whether the fitted load rises at each reading, told from its mean over a second or so; (n,) of 0 and 1."""
    n = min(SMOOTHED_OVER, load.fitted_n.size)
    edges = np.pad(load.fitted_n, (n // 2, n - 1 - n // 2), mode="edge")
    smooth = np.convolve(edges, np.full(n, 1.0 / n), "valid")
    slope = np.gradient(smooth) if smooth.size > 1 else np.zeros(smooth.size)
    return np.asarray(slope > 0.0, dtype=np.float64)


def over_load(result: DayResult, source: LoadSource) -> list[tuple[PassLoads, bool]]:
    """Every pass's load in bands of fitted load, rising (True) and falling readings apart."""
    width = _most(result, source, "fitted_n") / LOAD_BANDS
    found = []
    for setup in result.setups:
        for axle in AXLES:
            for fit, load in loads_of(setup, axle, source):
                up = rising(load)
                for way, keep in ((True, up), (False, 1.0 - up)):
                    points = tuple(banded(load, load.fitted_n, width, keep))
                    found.append((PassLoads(setup.name, fit, load, points), way))
    return found


def friction_band(passes: list[AxleLoadFit]) -> float | None:
    """Half width [N] of what the joints held back: the middle one of the passes' largest; None without friction."""
    largest = [float(np.nanmax(np.abs(load.friction_n), initial=0.0)) for load in passes]
    held = [one for one in largest if one > 0.0]
    return float(np.median(held)) if held else None


def _most(result: DayResult, source: LoadSource, name: str) -> float:
    found = [
        float(np.nanmax(getattr(load, name), initial=0.0))
        for setup in result.setups
        for axle in AXLES
        for _, load in loads_of(setup, axle, source)
    ]
    return max([1.0, *found])
