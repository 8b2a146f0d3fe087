"""What a suspension sensor makes of pressure and acceleration, run by run, by regression:

    reading = zero of the drive + A q + B a (engine or nothing) + B' a (brakes) + κ p

q = ½ρv², a = dv/dt; p is how far a play of the stated joint friction holds the reading off what is predicted:
joints hold a falling load back one way and a rising one the other. κ is 1 where the friction is as stated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from server.aero.joints import load_through_joints
from server.analysis.suspension_sensors import CarLoads, Sensor
from server.analysis.suspension_trace import STEP_S, DriveTrace
from server.testday.values import FloatArray

PRESSURE_PA = 100.0
LEAST_SAMPLES = 40
LONGEST_MEMORY_S = 5.0
FREE, BRAKED = 1, 2


@dataclass(frozen=True, slots=True)
class Response:
    """slope [reading per m/s²] with u, of acceleration by engine, air and tyres, and by the brakes (u None
    where the run hardly tells); pressure [reading per Pa], pressure_u; explained: share of the reading's
    variance about the drives' means; swing: 1st to 99th percentile of the reading within the drives."""

    run: int
    role: str
    slope: float
    slope_u: float | None
    braked: float
    braked_u: float | None
    pressure: float
    pressure_u: float
    explained: float
    swing: float
    accel_swing: float


def fit_response(trace: DriveTrace, role: str, reading: FloatArray, sensor: Sensor, loads: CarLoads) -> Response | None:
    """Fit one reading (n,) of a run; None where too little of it was driven."""
    use = trace.calm & np.isfinite(reading)
    legs = [leg for leg in trace.legs if np.count_nonzero(use & (trace.leg == leg)) >= LEAST_SAMPLES]
    use &= np.isin(trace.leg, legs)
    if not legs:
        return None
    a = trace.accel_mps2
    inputs = np.column_stack(
        [trace.pressure_pa / PRESSURE_PA, np.where(trace.braking, 0.0, a), np.where(trace.braking, a, 0.0)]
    )
    rows, y = _within(inputs[use], trace.leg[use]), _within(reading[use][:, None], trace.leg[use])[:, 0]
    holds = loads.friction(sensor)
    estimate, cov, left = _solve(rows, y)
    if holds is not None and holds > 0.0:
        given = loads.axle(sensor.axle).joint_friction_n
        for _ in range(2):
            play = _within(_play(inputs @ estimate[:3], trace, use, holds)[:, None], trace.leg[use])
            estimate, cov, left = _solve(np.column_stack([rows, play]), y, max(given.u / given.value, 0.3))
    u = np.sqrt(np.diag(cov))
    total = float(np.sum(y**2))
    span = [float(np.ptp(np.percentile(values, [1.0, 99.0]))) for values in (y, rows[:, FREE], rows[:, BRAKED])]
    return Response(
        run=trace.run.number,
        role=role,
        slope=float(estimate[FREE]),
        slope_u=float(u[FREE]) if span[1] > 1.5 else None,
        braked=float(estimate[BRAKED]),
        braked_u=float(u[BRAKED]) if span[2] > 1.5 else None,
        pressure=float(estimate[0]) / PRESSURE_PA,
        pressure_u=float(u[0]) / PRESSURE_PA,
        explained=1.0 - float(np.sum(left**2)) / total if total > 0.0 else 0.0,
        swing=span[0],
        accel_swing=float(np.ptp(np.percentile(a[use], [1.0, 99.0]))),
    )


def _within(values: FloatArray, leg: np.ndarray) -> FloatArray:
    """Values less the mean of their drive."""
    _, index = np.unique(leg, return_inverse=True)
    count = np.bincount(index).astype(np.float64)
    means = np.column_stack([np.bincount(index, column) / count for column in values.T])
    return np.asarray(values - means[index])


def _solve(
    rows: FloatArray, y: FloatArray, friction_u: float | None = None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Least squares; estimate, covariance widened for residuals that remember, residuals.

    friction_u: the last column's coefficient is 1 with this u before the data speak.
    """
    normal, right = rows.T @ rows, rows.T @ y
    ridge = 1e-9 * np.trace(normal) / len(normal) * np.eye(len(normal))
    left = y - rows @ np.linalg.solve(normal + ridge, right)
    variance = float(np.mean(left**2)) * _memory(left) + 1e-18
    if friction_u is not None:
        normal[-1, -1] += variance / friction_u**2
        right[-1] += variance / friction_u**2
    inverse = np.linalg.inv(normal + ridge)
    estimate = inverse @ right
    return estimate, variance * inverse, y - rows @ estimate


def _memory(left: FloatArray) -> float:
    """How many samples count as one: 1 + 2 Σ autocorrelations up to the first that is not above zero."""
    most = min(round(LONGEST_MEMORY_S / STEP_S), len(left) // 4)
    power = float(left @ left)
    total = 1.0
    for lag in range(1, most):
        r = float(left[lag:] @ left[:-lag]) / power if power > 0.0 else 0.0
        if r <= 0.0:
            break
        total += 2.0 * r
    return total


def _play(predicted: FloatArray, trace: DriveTrace, use: np.ndarray, holds: float) -> FloatArray:
    """Held less predicted reading where used, in the reading's unit: a play of ± holds in each drive."""
    held = np.zeros(len(predicted))
    for leg in np.unique(trace.leg[use]):
        mine = trace.leg == leg
        held[mine] = load_through_joints(predicted[mine], 0.5 * holds) - predicted[mine]
    return np.asarray(held[use])
