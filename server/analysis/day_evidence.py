"""Marginal likelihood of a linearised day at given noise: whitened rows, normal equations, posterior."""

from __future__ import annotations

import numpy as np

from server.analysis.day_grid import Point
from server.analysis.day_model import LinearDay, with_gusts
from server.analysis.day_noise import filter_noise, gust_exponent
from server.analysis.day_prior_matrix import day_prior
from server.analysis.day_problem import DayProblem, kept_scale
from server.inference.augmented_filter import whiten
from server.inference.gaussian import Posterior, condition, keep_as_stated
from server.testday.values import FloatArray


def evaluate(problem: DayProblem, linear: LinearDay, point: Point, log: FloatArray) -> tuple[Posterior, FloatArray]:
    """Posterior of the deviations from the point (shared in units of prior u) at given noise, and the rows."""
    values = problem.noise.values(log)
    noise = filter_noise(values)
    rows, logdet = whiten(with_gusts(linear, noise.gust_sd, gust_exponent(values)), noise)
    information, score, chi2 = normal_equations(rows, linear.row_pass, len(problem.grid.passes), problem.grid.own)
    mean, precision = day_prior(problem, point, values)
    kept = kept_scale(problem)
    if kept is not None:
        mean[kept] = 0.0  # the model is linearised there
        information, score = keep_as_stated(information, score, mean, precision, kept)
    return condition(information, score, chi2, logdet, mean, precision), rows


def normal_equations(rows: FloatArray, row_pass: np.ndarray, n: int, own: int) -> tuple[FloatArray, FloatArray, float]:
    """EᵀE, Eᵀe_0, e_0ᵀe_0 with each pass's own columns spread to their places."""
    p = rows.shape[1] - 1 - own
    shared = rows[:, : p + 1].T @ rows[:, : p + 1]
    information = np.zeros((p + own * n, p + own * n))
    score = np.zeros(p + own * n)
    information[:p, :p] = shared[1:, 1:]
    score[:p] = shared[0, 1:]
    ends = np.searchsorted(row_pass, np.arange(n + 1))
    for i in range(n):
        part = rows[ends[i] : ends[i + 1]]
        mine = part[:, p + 1 :].T @ part
        place = slice(p + i, None, n)
        score[place] = mine[:, 0]
        information[place, :p] = mine[:, 1 : p + 1]
        information[:p, place] = mine[:, 1 : p + 1].T
        information[place, place] = mine[:, p + 1 :]
    return information, score, float(shared[0, 0])


def row_scores(rows: FloatArray, row_pass: np.ndarray, residuals: FloatArray, n: int, own: int) -> FloatArray:
    """Eᵀe for several residual vectors e at once, (r, k) → (p, k), each pass's own columns in their places."""
    p = rows.shape[1] - 1 - own
    scores = np.empty((p + own * n, residuals.shape[1]))
    scores[:p] = rows[:, 1 : p + 1].T @ residuals
    ends = np.searchsorted(row_pass, np.arange(n + 1))
    for i in range(n):
        part = slice(ends[i], ends[i + 1])
        scores[p + n * np.arange(own) + i] = rows[part, p + 1 :].T @ residuals[part]
    return scores
