"""Uncertainty budget of a quantity: what each stated input and the data themselves contribute to its u.

For a Gaussian posterior with prior precision Λ and covariance C, the estimate moves with the prior mean of
input i by (CΛ)_si, so that input contributes |C_si| √Λ_ii and the data contribute the rest; the squares add up
to C_ss exactly (GUM, JCGM 100:2008, clause 5, read for a Bayesian linear model).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from server.analysis.day_posterior import DayPosterior
from server.analysis.day_priors import SPEED_NAMES, Parameter
from server.analysis.load_priors import SCZ_MEASURED
from server.analysis.result import BudgetLine
from server.testday.values import FloatArray


def budget(posterior: DayPosterior, quantity: str, weights: FloatArray, total_u: float) -> tuple[BudgetLine, ...]:
    """Lines for the quantity Σ weights·parameters, largest first; total_u is its u over the noise as well.

    weights: (p,) over the posterior's parameters.
    """
    covariance = weights @ posterior.mode_covariance
    variance = float(covariance @ weights)
    lines = [*_stated(posterior, quantity, covariance), *_grouped(posterior, quantity, covariance)]
    explained = sum(line.contribution**2 for line in lines)
    data = float(np.sqrt(max(variance - explained, 0.0)))
    lines.append(_line(quantity, "gusts and sensor noise", data, "A"))
    extra = total_u**2 - variance
    if extra > 0:
        lines.append(_line(quantity, "strength of gusts and noise not exactly known", float(np.sqrt(extra)), "A"))
    else:  # the noise as sampled is a little smaller than at its best point
        shrink = total_u / float(np.sqrt(variance))
        lines = [replace(line, contribution=line.contribution * shrink) for line in lines]
    return tuple(sorted(lines, key=lambda line: -line.contribution))


def _stated(posterior: DayPosterior, quantity: str, covariance: FloatArray) -> list[BudgetLine]:
    lines = []
    for i, parameter in enumerate(posterior.problem.priors.parameters):
        if parameter.name.startswith(("scx:", "wave_")) or _free(parameter) or parameter.name in SPEED_NAMES:
            continue
        moved = float(covariance[i] * np.sqrt(posterior.mode_precision_prior[i, i]))
        u_in = parameter.input_u if parameter.input_u else parameter.u
        sign = -1.0 if parameter.name in ("temperature", "humidity") else 1.0  # the density falls with them
        lines.append(
            BudgetLine(
                quantity=quantity,
                input=parameter.label,
                value=parameter.mean if parameter.value is None else parameter.value,
                u=u_in,
                unit=parameter.unit,
                sensitivity=sign * moved / u_in if u_in > 0 else None,
                contribution=abs(moved),
                type="B",
                source=parameter.source,
            )
        )
    return lines


def _free(parameter: Parameter) -> bool:
    """Whether nothing but its order of magnitude was assumed: no input, its width is the data's."""
    return parameter.name.startswith("scz_") and parameter.u >= SCZ_MEASURED.u


def _grouped(posterior: DayPosterior, quantity: str, covariance: FloatArray) -> list[BudgetLine]:
    """Inputs that are several numbers known together: speed scale, slow wind, scatter of the tyres, undulation."""
    parameters, n = posterior.problem.priors.parameters, len(posterior.problem.grid.passes)
    p = len(parameters)
    grid = posterior.problem.grid
    waves = np.array([i for i, q in enumerate(parameters) if q.name.startswith("wave_")], dtype=int)
    groups = {
        "wheel-speed scale, growth and delays": np.array([posterior.problem.priors.index(n) for n in SPEED_NAMES]),
        "mean wind of each pass": np.arange(p, p + n),
        "scatter of rolling resistance": np.arange(p + n, p + 2 * n),
        "undulation of the straight": waves,
        "zeros of the load sensors and their drift": np.arange(p + 2 * n, p + grid.own * n),
    }
    lines = []
    for label, places in groups.items():
        if len(places):
            block = posterior.mode_precision_prior[np.ix_(places, places)]
            share = float(covariance[places] @ block @ covariance[places])
            lines.append(_line(quantity, label, float(np.sqrt(max(share, 0.0))), "B"))
    return lines


def _line(quantity: str, label: str, contribution: float, kind: str) -> BudgetLine:
    source = "measured" if kind == "A" else "default"
    return BudgetLine(quantity, label, None, None, "", None, contribution, kind, source)  # type: ignore[arg-type]
