"""Marks of a stopwatch as the fit sees them: sparse speeds, each with its own noise, on the pass's grid.

A mark says that the needle stood at V_i at time t_i. Its time is off by σ_t, its reading by σ_V; as a reading at
the written time its variance is

    σ_i² = σ_V² + (a_i σ_t)²,    a_i: deceleration as read,

the errors of the marks independent of each other. Gain and offset of the speedometer are parameters of the day.

What its gain s (reading over true speed) does: with V = s v, m dv/dt = −F0 − k v² becomes
m dV/dt = −s F0 − (k/s) V². So a gain taken 1 % too low makes a freely fitted area 1 % too small and the rolling
resistance 1 % too large; an offset d adds 2 k d V to the resistance, which is linear in speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Chebyshev
from scipy.optimize import least_squares

from server.analysis.pass_data import BLOCK_S, SPEEDOMETER, BlockSeries, PassData, run_clock_zero
from server.analysis.result import Pass
from server.analysis.typed_passes import direction_of, typed_marks
from server.testday.values import Day, FloatArray, Run


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """What is known of A [m/s²] and B [1/m] of dV/dt = −(A + B V²): logs and their u, shape (2,)."""

    log: FloatArray
    u: FloatArray


TYPICAL = Shape(np.log([0.25, 0.0015]), np.array([0.7, 1.2]))  # from light cars to heavy ones
U_OF_ONE = 0.1  # how far wind and tyres make one coast-down's A and B differ from the others'
PATH_U_MPS = 0.2


def build_typed_pass(run: Run, found: Pass, day: Day) -> PassData | None:
    """A typed coast-down on its grid; None where the pass does not come from typed marks."""
    taken = typed_marks(run, found)
    if taken is None:
        return None
    typed, one = taken
    nodes = np.arange(found.start_s + 0.5 * BLOCK_S, found.end_s - 0.499 * BLOCK_S, BLOCK_S)
    path = coast_path(one.time_s, one.speed_mps, nodes, common_shape(day, run.setup, found.direction))
    node = likely_nodes(path, one.speed_mps, nodes)
    slope = np.asarray(path.deriv()(nodes[node]))
    variance = typed.speed_u_mps**2 + (slope * typed.seconds_u_s) ** 2
    series = BlockSeries(node, one.speed_mps, one.time_s - nodes[node], 1.0 / variance)
    first = min(float(c.time_s[0]) for r in run.recordings if r.typed for c in r.typed.coast_downs)
    return PassData(
        of=found,
        mass_kg=day.car.mass_kg.value + run.driver_mass_kg.value,
        driver_mass_kg=run.driver_mass_kg,
        clock_s=run_clock_zero(run) + 0.5 * (found.start_s + found.end_s),
        since_start_s=found.start_s - first,
        time_s=nodes,
        path=path,
        series={SPEEDOMETER: series},
    )


def likely_nodes(path: Chebyshev, speed_mps: FloatArray, nodes: FloatArray) -> np.ndarray:
    """The nodes at which marks most likely were: where the path passes their speeds, not where they were timed.

    A mark that was timed late, put where it was timed, meets sensitivities that grew in the meantime, and its residual
    with them: errors in the regressor, −1.5 % of SCx where the speed halved and no more. `lead_s` carries it back.
    """
    return np.asarray(np.argmin(np.abs(path(nodes)[None, :] - speed_mps[:, None]), axis=1), dtype=np.intp)


def common_shape(day: Day, setup: str, direction: int) -> Shape:
    """The shape that a day's typed coast-downs of one setup and direction have in common.

    A path through the few marks of one pass would follow their errors, and marks that happened to come late would
    count for more; all of them together hardly follow any.
    """
    group = [
        one
        for run in day.runs
        for recording in run.recordings
        for one in (recording.typed.coast_downs if recording.typed is not None else ())
        if (run.setup, direction_of(run, one)) == (setup, direction)
    ]
    starts = [float(one.speed_mps[0]) for one in group]

    def off(x: FloatArray) -> FloatArray:
        parts = [
            (_tangent(v0, x[:2], one.time_s - one.time_s[0]) - one.speed_mps) / PATH_U_MPS
            for v0, one in zip(x[2:], group, strict=True)
        ]
        return np.concatenate([*parts, (x[:2] - TYPICAL.log) / TYPICAL.u])

    best = least_squares(off, np.array([*TYPICAL.log, *starts])).x
    return Shape(best[:2], np.array([U_OF_ONE, U_OF_ONE]))


def coast_path(time_s: FloatArray, speed_mps: FloatArray, nodes: FloatArray, shape: Shape = TYPICAL) -> Chebyshev:
    """A smooth speed through a few marks: dV/dt = −(A + B V²), so V = √(A/B) tan(φ − √(AB) (t − t0)).

    time_s, speed_mps: marks, shape (n,); nodes: where the speed is wanted, (m,) [s]; shape: what is known of A and B
    before. A, B and the start are least squares over the marks. Closed form: separation of variables (from memory).
    """

    def off(x: FloatArray) -> FloatArray:
        left = (_tangent(x[2], x[:2], time_s - time_s[0]) - speed_mps) / PATH_U_MPS
        return np.concatenate([left, (x[:2] - shape.log) / shape.u])

    best = least_squares(off, np.array([*shape.log, float(speed_mps[0])])).x
    domain = [float(nodes[0]) - 0.5 * BLOCK_S, float(nodes[-1]) + 0.5 * BLOCK_S]
    dense = np.linspace(domain[0], domain[1], 60)
    return Chebyshev.fit(dense, _tangent(best[2], best[:2], dense - time_s[0]), 7, domain=domain)


def _tangent(start_mps: float, log: FloatArray, since_s: FloatArray) -> FloatArray:
    """V(t) [m/s] from V0 and (log A, log B); goes on in a straight line where it would pass 0."""
    a, b = np.exp(np.clip(log, -14.0, 3.0))
    phase = np.arctan(start_mps * np.sqrt(b / a)) - np.sqrt(a * b) * since_s
    return np.asarray(np.sqrt(a / b) * np.where(phase > 0.0, np.tan(np.maximum(phase, 0.0)), phase))
