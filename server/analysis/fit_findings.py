"""What is noticed of a fit: assumptions that lead it, passes that don't belong, checks that don't close."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from scipy.special import stdtr

from server.analysis.day_posterior import DayPosterior
from server.analysis.day_priors import Parameter
from server.analysis.load_priors import SCZ_MEASURED
from server.analysis.pass_data import SATELLITE, WHEEL
from server.analysis.result import Estimate, PassFit, SetupResult
from server.testday.values import Finding

TOO_WIDE = 0.30
WIDE = 0.10
ROLLING_NO_TYRE_HAS = 0.05
ALARM_RATE = 0.02
LEAST_OFF = 2.5  # of the pass's own u
DRAGGING = 0.12
SHARED = ("c0", "c1", "grade", "head_wind_out")


def fit_findings(
    posterior: DayPosterior, setups: Sequence[SetupResult]
) -> tuple[tuple[SetupResult, ...], list[Finding]]:
    """Findings of the fit; a setup whose area is too wide to be one loses it, and a finding says so."""
    found = [*_downforce(posterior), *_speeds(posterior), *_rolling(posterior), *_noise_search(posterior)]
    found += [*_unlike(setups), *_innovations(setups), *_energy(setups)]
    kept = []
    for setup in setups:
        area = setup.estimates["SCx"]
        if area.value <= 0 or area.u > TOO_WIDE * area.value:
            found.append(Finding("no-area", "stop", _no_area(setup, area)))
            kept.append(_without_area(setup))
            continue
        found += [*_wide(setup, area), *_linear(setup, area), *_two_methods(setup)]
        kept.append(setup)
    return tuple(kept), found


def coast_downs(setup: SetupResult) -> tuple[PassFit, ...]:
    """The setup's fitted coast-downs, without its constant-speed passes."""
    return tuple(fit for fit in setup.fits if fit.of.kind == "coast-down")


def _downforce(posterior: DayPosterior) -> Iterator[Finding]:
    priors = posterior.problem.priors
    for name in posterior.problem.setup_names:
        axles = [priors.parameters[priors.index(f"scz_{axle}:{name}")] for axle in ("front", "rear")]
        if name in posterior.problem.measured_setups and all(_is_measured(p) for p in axles):
            continue
        if any(p.source == "default" and not _is_measured(p) for p in axles):
            total, u95 = sum(p.mean for p in axles), 2.0 * float(np.hypot(axles[0].u, axles[1].u))
            text = (
                f"Setup {name}: no downforce was measured, typed or predicted. SCx was parted from the tyres' "
                f"answer to downforce with SCz = {total:.1f} ± {u95:.1f} m²; SCx_apparent needs no such "
                "assumption. There is no balance and no L/D."
            )
            yield Finding("downforce-assumed", "note", text)
        elif predicted := [end for end, p in zip(("front", "rear"), axles, strict=True) if _is_predicted(p)]:
            axle = "axles" if len(predicted) > 1 else "axle"
            text = (
                f"Setup {name}: the downforce of the {' and '.join(predicted)} {axle} is that of the predictions, "
                "within 15 % (one u), for nothing measured it. SCx was parted from the tyres' answer to it; it is no "
                "measurement, and predictions are not judged by it."
            )
            yield Finding("downforce-predicted", "note", text)


def _is_predicted(parameter: Parameter) -> bool:
    return parameter.source == "predicted" and not _is_measured(parameter)


def _is_measured(parameter: Parameter) -> bool:
    return parameter.u >= SCZ_MEASURED.u


def _speeds(posterior: DayPosterior) -> Iterator[Finding]:
    kinds = {kind for data in posterior.problem.grid.passes for kind in data.series}
    if SATELLITE not in kinds and WHEEL in kinds:
        text = (
            "No satellite speed: the rolling radius sets the speed's scale, known to about 1 %, and that 1 % is in "
            "every area."
        )
        yield Finding("wheel-speed-only", "note", text)


def _rolling(posterior: DayPosterior) -> Iterator[Finding]:
    c0 = float(np.mean(posterior.samples[:, posterior.problem.priors.index("c0")]))
    if c0 > ROLLING_NO_TYRE_HAS:
        text = (
            f"The rolling resistance found is {c0:.3f} of the weight, more than a tyre has: the driveline was not "
            "free (lift in gear, regeneration) or a brake dragged. Don't use these areas."
        )
        yield Finding("engine-braking", "stop", text)


def _noise_search(posterior: DayPosterior) -> Iterator[Finding]:
    if posterior.points.effective < 12.0:
        text = (
            "The strength of gusts and noise was sampled poorly "
            f"({posterior.points.effective:.0f} effective points); the interval's width is itself uncertain."
        )
        yield Finding("noise-search", "check", text)


def _unlike(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    """A pass whose own area or rolling resistance stands far from the others' (a dragging brake, traffic).

    Each area against the mean and spread of the others (externally studentised, Student's t with n − 2
    degrees of freedom), at 2 % for all passes of a setup together (Bonferroni).
    """
    for setup in setups:
        fits = coast_downs(setup)
        areas = np.array([f.scx for f in fits])
        n = len(areas)
        if n < 4:
            continue
        for i, fit in enumerate(fits):
            others = np.delete(areas, i)
            mean, spread = float(np.mean(others)), float(np.std(others, ddof=1)) * np.sqrt(n / (n - 1.0))
            off = abs(fit.scx - mean)
            chance = 2.0 * n * float(stdtr(n - 2, -off / max(spread, 1e-9)))
            if chance < ALARM_RATE and off > LEAST_OFF * fit.scx_u:
                yield _unlike_finding(fit, f"gives SCx {fit.scx:.2f} m² against {mean:.2f} m² of the others")
            elif fit.resistance_scatter > DRAGGING:
                more = f"rolls {100 * fit.resistance_scatter:.0f} % harder than the others"
                yield _unlike_finding(fit, f"{more}: look for a dragging brake or a soft tyre")


def _unlike_finding(fit: PassFit, what: str) -> Finding:
    text = f"Run {fit.of.run}, coast-down from {fit.of.start_s:.0f} s (setup {fit.of.setup}) {what}."
    return Finding("pass-unlike-others", "check", text, fit.of.run, fit.of.start_s, fit.of.end_s)


def _innovations(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    """Innovations should be white: first autocorrelation over all passes within 4 standard errors and 0.2."""
    parts = [f.innovations - np.mean(f.innovations) for s in setups for f in coast_downs(s)]
    n, power = sum(len(e) for e in parts), sum(float(e @ e) for e in parts)
    lag1 = sum(float(e[1:] @ e[:-1]) for e in parts) / power if power > 0 else 0.0
    if n > 50 and abs(lag1) > max(0.25, 4.0 / np.sqrt(n)):
        text = (
            f"What the fit leaves is not white (lag-1 correlation {lag1:+.2f}): a speed sensor has errors that the "
            "model does not know; the interval may be too narrow."
        )
        yield Finding("innovations-not-white", "check", text)


def _energy(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    closures = np.array([f.energy_closure for s in setups for f in coast_downs(s)])
    if len(closures) < 4:
        return
    off, u = float(np.mean(closures)) - 1.0, float(np.std(closures, ddof=1) / np.sqrt(len(closures)))
    if abs(off) > max(4.0 * u, 0.02):
        text = (
            f"The fitted forces do {100 * off:+.1f} % of work beyond what the car lost in kinetic energy, more "
            "than gusts explain."
        )
        yield Finding("energy-open", "check", text)


def _without_area(setup: SetupResult) -> SetupResult:
    gone = ("SCx", "SCx_apparent", "LD")
    kept = {k: v for k, v in setup.estimates.items() if k not in gone and (k in SHARED or v.source == "measured")}
    lines = tuple(line for line in setup.budget if line.quantity in kept)
    return replace(setup, estimates=kept, budget=lines, sample_scx=None)


def _no_area(setup: SetupResult, area: Estimate) -> str:
    n = len(coast_downs(setup))
    return (
        f"Setup {setup.name}: {n} coast-down{'s' if n != 1 else ''} leave SCx too uncertain to be a number (u "
        f"{area.u:.2f} m² on {area.value:.2f} m²); more passes, both ways, over a wider range of speed."
    )


def _wide(setup: SetupResult, area: Estimate) -> Iterator[Finding]:
    largest = next(line.input for line in setup.budget if line.quantity == "SCx")
    if area.u95 > WIDE * area.value:
        text = (
            f"Setup {setup.name}: SCx is known to ± {100 * area.u95 / area.value:.0f} % only; the largest part is "
            f"{largest}."
        )
        yield Finding("wide-interval", "check", text)


def _linear(setup: SetupResult, area: Estimate) -> Iterator[Finding]:
    of_drag = [line for line in setup.budget if line.quantity == "SCx"]
    lines = [line for line in of_drag if " c1" in line.input or " T1" in line.input]
    part = float(np.sqrt(sum(line.contribution**2 for line in lines)))
    if part > 0.7 * area.u:
        text = (
            f"Setup {setup.name}: how the tyres' and driveline's drag grow with speed is known from stated values "
            f"alone and makes most of the uncertainty (± {2 * part:.3f} m² of ± {area.u95:.3f} m²); more "
            "spin-downs of the driven wheels on stands, and more passes over a wider range of speed, narrow it."
        )
        yield Finding("linear-resistance", "note", text)


def _two_methods(setup: SetupResult) -> Iterator[Finding]:
    area, method = setup.estimates["SCx_apparent"], setup.interval_method
    other = method.scx_two_term if method else None
    if other is None:
        return
    # two terms let the linear resistance into the area: up to about a tenth of it
    if abs(other.value - area.value) > 3.0 * float(np.hypot(area.u, other.u)) + 0.10 * area.value:
        text = (
            f"Setup {setup.name}: the interval method with two terms gives {other.value:.2f} m² where the day's "
            f"model gives {area.value:.2f} m² (apparent), more apart than both allow."
        )
        yield Finding("methods-disagree", "check", text)
