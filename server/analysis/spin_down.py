"""Spin-downs: driven wheels on stands, left to run down, tell the driveline drag T0 + T1 v.

    J dω/dt = −r (T0 + T1 v),  v = ω r      so that      J/r² dv/dt = −(T0 + T1 v)

No air resists on the stand but the wheels' own windage, which is in T0 and T1 and stays there on the road.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from server.analysis.estimates import estimate
from server.analysis.result import AxleEnd, Estimate
from server.analysis.spin_down_stretch import Stretch, free_stretch
from server.testday.values import Axle, Car, Finding, FloatArray, SpinDown

DRAWS = 20_000
# Noise of the speed: teeth, alike in every block, and friction that wanders with a time of its own, integrated.
# The walk is the variance that the latter has gathered over the stretch, over that of a block.
WALKS = np.geomspace(1e-2, 1e5, 15)
WANDER_TIMES_S = (0.5, 1.5, 5.0, 15.0)
# Scatter of the friction from one spin-down to the next, relative; half-Cauchy prior (common practice, no source).
SCATTERS = np.geomspace(0.005, 0.3, 12)
SCATTER_SCALE = 0.05
SCATTER_CORRELATION = 0.5  # of the scatter of T0 with that of T1: partly one oil, partly each its own


@dataclass(frozen=True, slots=True, eq=False)
class DrivelineDrag:
    """T0 [N] and T1 [N s/m] at the contact patch, as spin-downs tell them.

    mean (2,), covariance (2, 2): of both together; low_mps, high_mps: the speeds run through;
    used: how many spin-downs.
    """

    t0_n: Estimate
    t1_n_per_mps: Estimate
    mean: FloatArray
    covariance: FloatArray
    low_mps: float
    high_mps: float
    used: int


def driveline_drag(spin_downs: Sequence[SpinDown], car: Car) -> tuple[DrivelineDrag | None, list[Finding]]:
    """Fit the driveline drag of the driven axle, or of both axles together, to all spin-downs.

    Each axle: v(t) = v0 − a0 t − a1 x(t) with x = ∫ v dt, by generalised least squares; the spin-downs' own friction
    scatters about the car's. T0 = J a0/r², T1 = J a1/r², summed over driven axles, with u of J and r in both.
    Returns None where no spin-down can be used; findings say why, and what was cut away.
    """
    ends: tuple[AxleEnd, ...] = ("front", "rear") if car.driven == "all" else (car.driven,)
    stretches, findings = _stretches(spin_downs, ends)
    if not any(stretches.values()):
        return None, findings
    lacking = [end for end in ends if not stretches[end]]
    if lacking:
        text = f"The spin-downs tell nothing of the {lacking[0]} axle, which is driven too, so none is used."
        return None, [*findings, Finding("stand-test-unused", "check", text)]
    rng = np.random.default_rng(7)
    draws = np.sum([_drag_draws(stretches[end], getattr(car, end), rng) for end in ends], axis=0)
    every = [stretch for end in ends for stretch in stretches[end]]
    found = DrivelineDrag(
        t0_n=estimate(draws[:, 0], "N", "measured"),
        t1_n_per_mps=estimate(draws[:, 1], "N s/m", "measured"),
        mean=np.asarray(draws.mean(axis=0)),
        covariance=np.asarray(np.cov(draws, rowvar=False)),
        low_mps=min(float(stretch.speed_mps[-1]) for stretch in every),
        high_mps=max(float(stretch.speed_mps[0]) for stretch in every),
        used=max(len(of) for of in stretches.values()),
    )
    return found, findings


def _stretches(
    spin_downs: Sequence[SpinDown], ends: Sequence[AxleEnd]
) -> tuple[Mapping[AxleEnd, list[Stretch]], list[Finding]]:
    stretches: dict[AxleEnd, list[Stretch]] = {end: [] for end in ends}
    findings: list[Finding] = []
    for number, spin_down in enumerate(spin_downs, start=1):
        if spin_down.recording is None:
            continue
        reasons = []
        for end in ends:
            found = free_stretch(spin_down.recording, [f"wheel_speed_{end[0]}{side}" for side in "lr"])
            if isinstance(found, str):
                reasons.append(found)
                continue
            stretches[end].append(found)
            if found.left_out:
                findings.append(_cut(number, spin_down, found))
        if len(reasons) == len(ends):
            text = f"Spin-down {number} ({spin_down.log.file}) is not used: {reasons[0]}."
            findings.append(Finding("stand-test-unused", "check", text))
    return stretches, findings


def _cut(number: int, spin_down: SpinDown, stretch: Stretch) -> Finding:
    text = (
        f"Spin-down {number} ({spin_down.log.file}): only {stretch.start_s:.1f} to {stretch.end_s:.1f} s is used, "
        f"because {stretch.left_out} disturbs the rest."
    )
    return Finding("spin-down-cut", "note", text)


def _drag_draws(stretches: Sequence[Stretch], axle: Axle, rng: np.random.Generator) -> FloatArray:
    """Draws of one axle's T0 and T1, shape (DRAWS, 2).

    J and r are the same in every spin-down. The speed may rest on a radius of the logger's own, as well known as r.
    """
    a = _deceleration_draws(stretches, rng)
    j, r = axle.axle_inertia_kgm2, axle.tyre_radius_m
    inertia = j.value + j.u * rng.standard_normal(DRAWS)
    radius, logged = r.value + r.u * rng.standard_normal((2, DRAWS))
    return np.stack([inertia * a[:, 0] / (radius * logged), inertia * a[:, 1] / radius**2], axis=-1)


def _deceleration_draws(stretches: Sequence[Stretch], rng: np.random.Generator) -> FloatArray:
    """Draws of a0 [m/s²] and a1 [1/s] of dv/dt = −(a0 + a1 v), shape (DRAWS, 2).

    A mixture of Gaussians over the noise of the speed and the scatter of the friction, weighted by how likely they
    make the data (restricted likelihood; flat in the logarithms of walk and wander time).
    """
    parts = []
    for wander_s in WANDER_TIMES_S:
        turned = [_turned(stretch, wander_s) for stretch in stretches]
        parts += [_of_noise([_generalised(*each, walk) for each in turned]) for walk in WALKS]
    log_weight, means, covariances = (np.concatenate(list(group)) for group in zip(*parts, strict=True))
    weight = np.exp(log_weight - log_weight.max())
    which = rng.choice(len(weight), DRAWS, p=weight / weight.sum())
    roots = np.linalg.cholesky(covariances)
    return np.asarray(means[which] + np.einsum("nij,nj->ni", roots[which], rng.standard_normal((DRAWS, 2))))


def _of_noise(fits: Sequence[_Fit]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log weight, mean and covariance of (a0, a1) for each scatter at one noise: (k,), (k, 2), (k, 2, 2)."""
    dof = sum(fit.dof for fit in fits)
    squares = sum(fit.squares for fit in fits)
    log_noise = -0.5 * sum(fit.log_determinants for fit in fits) - 0.5 * dof * np.log(squares)
    own = np.array([fit.cofactor for fit in fits]) * squares / dof
    values = np.array([fit.value for fit in fits])
    size = np.maximum(np.median(values, axis=0), [1e-2, 1e-4])
    shape = np.array([[1.0, SCATTER_CORRELATION], [SCATTER_CORRELATION, 1.0]]) * np.outer(size, size)
    precision = np.linalg.inv(own + SCATTERS[:, np.newaxis, np.newaxis, np.newaxis] ** 2 * shape)
    covariance = np.linalg.inv(precision.sum(axis=1))
    mean = np.einsum("kij,knjl,nl->ki", covariance, precision, values)
    left = values - mean[:, np.newaxis]
    log_weight = log_noise + np.log(SCATTERS) - np.log(1.0 + (SCATTERS / SCATTER_SCALE) ** 2)
    log_weight += 0.5 * (np.linalg.slogdet(precision)[1].sum(axis=1) + np.linalg.slogdet(covariance)[1])
    log_weight -= 0.5 * np.einsum("kni,knij,knj->k", left, precision, left)
    return log_weight, mean, covariance


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    value: FloatArray  # a0, a1
    cofactor: FloatArray  # their covariance over the variance of a block
    squares: float
    log_determinants: float
    dof: int


def _turned(stretch: Stretch, wander_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Eigenvalues (n,) of K/K(T, T), and design (n, 3) and speed (n,) in its eigenvectors' axes."""
    t = stretch.time_s
    X = np.stack([np.ones_like(t), -t, -stretch.distance_m], axis=-1)
    values, axes = np.linalg.eigh(_summed_wander(t, wander_s))
    return np.maximum(values, 0.0), axes.T @ X, axes.T @ stretch.speed_mps


def _generalised(values: FloatArray, design: FloatArray, speed: FloatArray, walk: float) -> _Fit:
    """v = v0 − a0 t − a1 x with errors of covariance σ² (I + walk · K/K(T, T)), K that of a wandering force summed up.

    K(s, t) = min(s, t) + ½τ (e^{−s/τ} + e^{−t/τ} − 1 − e^{−|s−t|/τ})
    """
    variance = 1.0 + walk * values
    X, y = design / np.sqrt(variance)[:, np.newaxis], speed / np.sqrt(variance)
    normal = X.T @ X
    cofactor = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    b = cofactor @ (X.T @ y)
    left = y - X @ b
    logs = np.log(variance).sum() + np.linalg.slogdet(normal)[1]
    return _Fit(b[1:], cofactor[1:, 1:], float(left @ left), float(logs), len(y) - 3)


def _summed_wander(t: FloatArray, wander_s: float) -> FloatArray:
    decay = np.exp(-t / wander_s)
    late = np.exp(-np.abs(t[:, None] - t[None, :]) / wander_s)
    K = np.minimum(t[:, None], t[None, :]) + 0.5 * wander_s * (decay[:, None] + decay[None, :] - 1.0 - late)
    return np.asarray(K / K[-1, -1])
