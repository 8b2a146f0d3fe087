"""Axle loads of every pass as the fit sees them, and downforce over the ride heights that were visited."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from server.analysis.day_posterior import DayPosterior
from server.analysis.load_at_axle import bend_load, bend_shape
from server.analysis.load_at_springs import sink_compliance
from server.analysis.load_blocks import load_context
from server.analysis.load_data import AXLE_OF, SOURCE_OF
from server.analysis.load_priors import unit_zero
from server.analysis.load_rows import load_sensitivity
from server.analysis.load_terms import ENDS, FRICTION_COLOUR
from server.analysis.result import AxleEnd, AxleLoadFit, Estimate, PassFit, VisitedHeight
from server.inference.smoother import Smoothed
from server.testday.values import FloatArray

LEAST_PRESSURE = 0.15  # of the highest: below it an area is all zero and noise
BAND_M = 0.002
LEAST_POINTS = 6


def pass_loads(posterior: DayPosterior, smoothed: Smoothed, deviation: FloatArray) -> list[tuple[AxleLoadFit, ...]]:
    """Loads of every used pass, one entry per axle and source.

    deviation: of every column from the point of linearisation, (nodes, columns).
    """
    problem, grid = posterior.problem, posterior.problem.grid
    if not grid.load_kinds:
        return [() for _ in grid.passes]
    segments, n = posterior.linear.segments, len(grid.passes)
    values = {q.name: float(posterior.mode_mean[i]) for i, q in enumerate(problem.priors.parameters)}
    p, motion = len(problem.priors.parameters), posterior.linear.motion
    assert motion is not None
    context = load_context(grid, problem.setup_names, problem.car)
    setup = np.array(grid.setup_of_pass)[grid.of_node]
    air = smoothed.speed + (motion.air_speed - motion.speed) + smoothed.gust
    pressure = motion.half_density * air**2
    area, sink = {}, {}
    for end in ENDS:
        base = np.array([values[f"scz_{end}:{s}"] for s in problem.setup_names])[setup]
        bend = np.array([values.get(f"bend_{end}:{s}", 0.0) for s in problem.setup_names])[setup]
        xi = bend_shape(motion, setup, context, end, values)[0]
        area[end] = base * (1.0 + bend * xi)
        reference = context.reference_pressure_pa * base
        sink[end] = (xi * bend_load(reference) + reference) * sink_compliance(context, end, values)
    row_node = np.repeat(np.arange(len(grid.time_s)), np.diff(segments.row_start))
    found = []
    for i, data in enumerate(grid.passes):
        loads = []
        for k, kind in enumerate(grid.load_kinds):
            if kind not in data.loads:
                continue
            end = AXLE_OF[kind]
            mine = np.flatnonzero((posterior.linear.row_pass == i) & (segments.kind == kind))
            node = row_node[mine]
            see, direct = segments.see[mine], segments.direct[mine]
            dev = deviation[node]
            modelled = see[:, 0] * smoothed.speed[node] + see[:, 1] * smoothed.gust[node]
            modelled += direct[:, 0] + np.sum(direct[:, 1:] * dev, axis=1)
            by_load = load_sensitivity(context, kind, values)
            load = area[end][node] * pressure[node]
            place = p + (2 + k) * n + i
            unit = unit_zero(kind) / by_load
            loads.append(
                AxleLoadFit(
                    axle=end,
                    source=SOURCE_OF[kind],
                    time_s=grid.time_s[node],
                    speed_mps=smoothed.speed[node],
                    pressure_pa=pressure[node],
                    load_n=load + (segments.y[mine] - modelled) / by_load,
                    fitted_n=load,
                    friction_n=see[:, 2 + FRICTION_COLOUR[end]]
                    / by_load
                    * smoothed.colours[node, FRICTION_COLOUR[end]],
                    sink_m=sink[end][node],
                    zero_n=float(posterior.mode_mean[place]) * unit,
                    zero_u_n=float(np.sqrt(posterior.mode_covariance[place, place])) * unit,
                )
            )
        found.append(tuple(loads))
    return found


PREFERENCE = ("damper", "push rod", "ride height")


def visited_heights(
    posterior: DayPosterior, fits: Sequence[PassFit], name: str, static_m: dict[str, float | None]
) -> tuple[VisitedHeight, ...]:
    """SCz of each axle over bands of 2 mm of sink, where the passes really were; nothing is filled in.

    Each pass gives a band its mean load over mean pressure. Zeros, wind, transfer and the source's gain are those of
    the fit, so u holds the fitted area's own u, the u of a zero over the band's pressure and the passes' scatter.
    static_m: ride height of the standing car over each axle.
    """
    found: list[VisitedHeight] = []
    for end in ENDS:
        mine = [load for fit in fits for load in fit.loads if load.axle == end]
        source = next((s for s in PREFERENCE if any(load.source == s for load in mine)), None)
        if source is None:
            continue
        loads = [load for load in mine if load.source == source]
        area_u = float(np.std(posterior.samples[:, posterior.problem.priors.index(f"scz_{end}:{name}")]))
        top = max(float(np.max(load.pressure_pa)) for load in loads)
        bands = [np.floor(load.sink_m / BAND_M).astype(int) for load in loads]
        for band in sorted({int(b) for each in bands for b in np.unique(each)}):
            picked = [
                (load, where)
                for load, each in zip(loads, bands, strict=True)
                if np.count_nonzero(where := (each == band) & (load.pressure_pa > LEAST_PRESSURE * top)) > 0
            ]
            if sum(int(np.count_nonzero(where)) for _, where in picked) >= LEAST_POINTS:
                found.append(_visited(end, picked, area_u, static_m.get(end)))
    return tuple(found)


def _visited(
    end: AxleEnd, picked: Sequence[tuple[AxleLoadFit, np.ndarray]], area_u: float, static_m: float | None
) -> VisitedHeight:
    weight = np.array([float(np.count_nonzero(where)) for _, where in picked])
    pressure = np.array([float(np.mean(load.pressure_pa[where])) for load, where in picked])
    areas = np.array([float(np.mean(load.load_n[where])) for load, where in picked]) / pressure
    zeros = np.array([load.zero_u_n or 0.0 for load, _ in picked]) / pressure
    mean = float(np.average(areas, weights=weight))
    effective = float(np.sum(weight) ** 2 / np.sum(weight**2))
    inside = np.concatenate([(load.load_n - load.fitted_n)[where] / load.pressure_pa[where] for load, where in picked])
    scatter = float(np.std(areas)) if len(picked) >= 3 else float(np.std(inside))
    zero = float(np.average(zeros, weights=weight))
    u = float(np.sqrt(scatter**2 / max(effective, 1.0) + zero**2 + area_u**2))
    sinks = np.concatenate([load.sink_m[where] for load, where in picked])
    sink, width = float(np.mean(sinks)), float(np.std(sinks))
    seconds = 0.4 * float(np.sum(weight))
    height = _interval(static_m - sink, width, "m") if static_m is not None else None
    return VisitedHeight(end, _interval(sink, width, "m"), _interval(mean, u, "m²"), seconds, height)


def _interval(value: float, u: float, unit: str) -> Estimate:
    return Estimate(value, u, value - 1.96 * u, value + 1.96 * u, unit, "measured")
