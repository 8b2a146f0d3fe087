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

import numpy as np
from numpy.polynomial import Chebyshev
from scipy.optimize import least_squares

from server.analysis.pass_data import BLOCK_S, SPEEDOMETER, BlockSeries, PassData, run_clock_zero
from server.analysis.result import Pass
from server.analysis.typed_passes import typed_marks
from server.testday.values import Day, FloatArray, Run

# Shape of a coast-down, dV/dt = −(A + B V²), where few marks tell it: medians and u of the logs.
TYPICAL_A_MPS2, TYPICAL_B_PER_M, U_LOG_A, U_LOG_B = 0.25, 0.0015, 0.7, 1.2
PATH_U_MPS = 0.2


def build_typed_pass(run: Run, found: Pass, day: Day) -> PassData | None:
    """A typed coast-down on its grid; None where the pass does not come from typed marks."""
    taken = typed_marks(run, found)
    if taken is None:
        return None
    typed, one = taken
    nodes = np.arange(found.start_s + 0.5 * BLOCK_S, found.end_s - 0.499 * BLOCK_S, BLOCK_S)
    path = coast_path(one.time_s, one.speed_mps, nodes)
    node = np.clip(((one.time_s - found.start_s) / BLOCK_S).astype(np.int64), 0, len(nodes) - 1)
    slope = np.asarray(path.deriv()(one.time_s))
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


def coast_path(time_s: FloatArray, speed_mps: FloatArray, nodes: FloatArray) -> Chebyshev:
    """A smooth speed through a few marks: dV/dt = −(A + B V²), so V = √(A/B) tan(φ − √(AB) (t − t0)).

    time_s, speed_mps: marks, shape (n,); nodes: where the speed is wanted (m,) [s]. A, B and the start are least
    squares over the marks, with wide priors where the marks are too few. Closed form: separation of variables, as
    in texts on coast-downs (from memory).
    """
    shift = np.log([TYPICAL_A_MPS2, TYPICAL_B_PER_M])

    def off(x: FloatArray) -> FloatArray:
        left = (_tangent(x, shift, time_s - time_s[0]) - speed_mps) / PATH_U_MPS
        return np.concatenate([left, [x[1] / U_LOG_A, x[2] / U_LOG_B]])

    best = least_squares(off, np.array([float(speed_mps[0]), 0.0, 0.0]), x_scale=np.array([1.0, 0.3, 0.3])).x
    domain = [float(nodes[0]) - 0.5 * BLOCK_S, float(nodes[-1]) + 0.5 * BLOCK_S]
    dense = np.linspace(domain[0], domain[1], 60)
    return Chebyshev.fit(dense, _tangent(best, shift, dense - time_s[0]), 7, domain=domain)


def _tangent(x: FloatArray, shift: FloatArray, since_s: FloatArray) -> FloatArray:
    """V(t) [m/s] from (V0, log A, log B) less `shift`; goes on in a straight line where it would pass 0."""
    a, b = np.exp(np.clip(x[1:] + shift, -12.0, 3.0))
    turn = np.sqrt(a * b)
    phase = np.arctan(x[0] * np.sqrt(b / a)) - turn * since_s
    return np.asarray(np.sqrt(a / b) * np.where(phase > 0.0, np.tan(np.maximum(phase, 0.0)), phase))
