"""What the fit says of each setup, and of each setup against its baseline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from server.analysis.bend_test import REPLICATES
from server.analysis.day_budget import budget
from server.analysis.day_posterior import DayPosterior
from server.analysis.day_problem import place_of_bend
from server.analysis.estimates import delta, estimate
from server.analysis.load_terms import ENDS
from server.analysis.loads_report import visited_heights
from server.analysis.result import BendTest, BudgetLine, Comparison, Estimate, Joint, Pass, PassFit, SetupResult
from server.analysis.ride_report import at_speeds, bend_per_metre, reference_heights, weight_speed
from server.testday.values import Day, FloatArray, Setup, Source

UNITS = {
    "SCx": "m²",
    "SCx_apparent": "m²",
    "SCz_front": "m²",
    "SCz_rear": "m²",
    "SCz": "m²",
    "balance_front": "–",
    "LD": "–",
    "c0": "–",
    "c1": "s/m",
    "grade": "–",
    "head_wind_out": "m/s",
    "weight_speed": "m/s",
    "ride_height_front": "m",
    "ride_height_rear": "m",
}


COMPARED = ("SCx", "SCx_apparent", "SCz_front", "SCz_rear", "SCz", "balance_front", "LD")


def setup_results(
    posterior: DayPosterior,
    passes: Sequence[Pass],
    fits: Sequence[PassFit],
    bends: Mapping[str, tuple[float, float]],
    setups: Mapping[str, Setup],
) -> tuple[SetupResult, ...]:
    """One SetupResult per fitted setup. bends: setup → (statistic, p) of the test for a bend."""
    results = []
    for name in posterior.problem.setup_names:
        samples = setup_samples(posterior, name)
        sources = _sources(posterior, name)
        loaded = sources["SCz_front"] == sources["SCz_rear"] == "measured"
        if loaded:
            more = reference_heights(posterior, setups[name])
            speed = weight_speed(posterior, name)
            if np.all(np.isfinite(speed)) and np.std(speed) < 0.2 * np.mean(speed):
                more["weight_speed"] = speed
            samples |= more
            sources |= dict.fromkeys(more, "measured")
        estimates = {k: estimate(samples[k], UNITS[k], sources[k]) for k in samples if k in sources}
        mine = tuple(p for p in passes if p.setup == name)
        mine_fits = tuple(f for f in fits if f.of.setup == name)
        results.append(
            SetupResult(
                name=name,
                estimates=estimates,
                passes=mine,
                fits=mine_fits,
                budget=_budgets(posterior, name, estimates),
                sample_scx=samples["SCx"][::4],
                at_speeds=at_speeds(posterior, setups[name]) if loaded else (),
                visited=visited_heights(posterior, mine_fits, name, _static(setups[name])) if loaded else (),
                bend=_bend(posterior, name, *bends[name]) if name in bends else None,
            )
        )
    return tuple(results)


def _static(setup: Setup) -> dict[str, float | None]:
    return {"front": setup.front_ride_height_m, "rear": setup.rear_ride_height_m}


def _bend(posterior: DayPosterior, name: str, statistic: float, p: float) -> BendTest:
    slope: dict[str, Estimate] = {
        end: estimate(bend_per_metre(posterior, name, end), "1/m", "measured")
        for end in ENDS
        if posterior.problem.grid.loads is not None and posterior.problem.grid.loads.springs[end] is not None
    }
    bent = any(column in posterior.problem.bent for column in place_of_bend(posterior.problem, name))
    return BendTest(statistic, p, REPLICATES, bent, slope)


def setup_samples(posterior: DayPosterior, name: str) -> dict[str, FloatArray]:
    """Joint samples of a setup's quantities, (n,) each, by estimate name."""
    priors, draws = posterior.problem.priors, posterior.samples
    p, passes = len(priors.parameters), posterior.problem.grid.passes

    def column(parameter: str) -> FloatArray:
        return np.asarray(draws[:, priors.index(parameter)])

    scx, front, rear = column(f"scx:{name}"), column(f"scz_front:{name}"), column(f"scz_rear:{name}")
    scz = front + rear
    samples = {
        "SCx": scx,
        "SCx_apparent": scx + column("c0") * scz,
        "SCz_front": front,
        "SCz_rear": rear,
        "SCz": scz,
        "c0": column("c0"),
        "c1": column("c1"),
        "grade": column("grade"),
    }
    told = [p + i for i, data in enumerate(passes) if data.of.setup == name and data.of.direction != 0]
    if told:
        samples["head_wind_out"] = np.asarray(np.mean(draws[:, told], axis=1))
    if np.mean(scz) > 4.0 * np.std(scz):  # a ratio to something that may be zero has no interval
        samples["balance_front"] = front / scz
    samples["LD"] = scz / scx
    return samples


def _sources(posterior: DayPosterior, name: str) -> dict[str, Source]:
    """Where each estimate comes from; derived quantities of an assumed downforce are left out."""
    front = posterior_source(posterior, f"scz_front:{name}")
    rear = posterior_source(posterior, f"scz_rear:{name}")
    both: Source = rear if front == "measured" else front
    if "default" in (front, rear):
        both = "default"
    sources: dict[str, Source] = {
        "SCx": "measured",
        "SCx_apparent": "measured",
        "SCz_front": front,
        "SCz_rear": rear,
        "SCz": both,
        "c0": posterior_source(posterior, "c0"),
        "c1": posterior_source(posterior, "c1"),
        "grade": posterior_source(posterior, "grade"),
        "head_wind_out": "measured",
    }
    if both != "default":
        sources["LD"] = both
        sources["balance_front"] = both
    return sources


def posterior_source(posterior: DayPosterior, name: str) -> Source:
    """'measured' where the data narrowed a parameter to below 0.8 of its prior u, else the prior's source."""
    i = posterior.problem.priors.index(name)
    parameter = posterior.problem.priors.parameters[i]
    narrowed = float(np.std(posterior.samples[:, i])) < 0.8 * parameter.u
    return "measured" if narrowed else parameter.source


def _budgets(posterior: DayPosterior, name: str, estimates: dict[str, Estimate]) -> tuple[BudgetLine, ...]:
    """Lines of every measured area and ratio."""
    lines: list[BudgetLine] = []
    for quantity, weights in quantity_weights(posterior, name).items():
        made = estimates.get(quantity)
        if made is not None and made.source == "measured":
            lines += budget(posterior, quantity, weights, made.u)
    return tuple(lines)


def quantity_weights(posterior: DayPosterior, name: str) -> dict[str, FloatArray]:
    """Derivatives of a setup's areas and ratios by every parameter of the posterior, (p,) each."""
    priors = posterior.problem.priors
    unit = {}
    for parameter in ("scx", "scz_front", "scz_rear"):
        unit[parameter] = np.zeros(len(posterior.mode_mean))
        unit[parameter][priors.index(f"{parameter}:{name}")] = 1.0
    scx, front, rear = (float(unit[k] @ posterior.mode_mean) for k in ("scx", "scz_front", "scz_rear"))
    scz = front + rear
    weights = {
        "SCx": unit["scx"],
        "SCz_front": unit["scz_front"],
        "SCz_rear": unit["scz_rear"],
        "SCz": unit["scz_front"] + unit["scz_rear"],
    }
    if scz != 0.0 and scx != 0.0:
        weights["balance_front"] = (unit["scz_front"] * rear - unit["scz_rear"] * front) / scz**2
        weights["LD"] = weights["SCz"] / scx - unit["scx"] * scz / scx**2
    return weights


def comparisons(posterior: DayPosterior, day: Day) -> tuple[Comparison, ...]:
    """Each setup against the baseline it names, else against the first setup that was fitted."""
    names = posterior.problem.setup_names
    named = {s.name: s.baseline for s in day.setups}
    found = []
    for name in names:
        baseline = named.get(name) or names[0]
        if baseline == name or baseline not in names:
            continue
        ours, theirs = setup_samples(posterior, name), setup_samples(posterior, baseline)
        sources = [_sources(posterior, s) for s in (name, baseline)]
        found.append(
            Comparison(
                name,
                baseline,
                {
                    k: delta(ours[k], theirs[k], UNITS[k])
                    for k in COMPARED
                    if k in ours and k in theirs and all(s.get(k, "default") != "default" for s in sources)
                },
            )
        )
    return tuple(found)


def joints(posterior: DayPosterior, setups: Sequence[SetupResult]) -> dict[str, Joint]:
    """Each compared quantity of the setups that have an area and know it, together."""
    standing = [setup for setup in setups if "SCx" in setup.estimates]
    samples = {setup.name: setup_samples(posterior, setup.name) for setup in standing}
    found = {}
    for quantity in COMPARED:
        told = [setup for setup in standing if quantity in setup.estimates]
        names = [setup.name for setup in told if setup.estimates[quantity].source != "default"]
        if names:
            drawn = np.stack([samples[name][quantity] for name in names])
            covariance = np.atleast_2d(np.cov(drawn, ddof=0))
            found[quantity] = Joint(tuple(names), UNITS[quantity], np.mean(drawn, axis=1), covariance)
    return found
