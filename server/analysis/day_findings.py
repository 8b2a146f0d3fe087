"""What is noticed of a day: in its data before the fit, and in the fit itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from server.analysis.day_posterior import DayPosterior
from server.analysis.result import Estimate, Pass, PassFit, SetupResult
from server.testday.values import Day, Finding

MEAN_WIND_LIMIT_MPS, GUST_LIMIT_MPS, CROSS_LIMIT_MPS = 5.0, 8.0, 2.0  # UN GTR 15, stationary anemometer (from memory)
TEMPERATURE_DRIFT_K = 5.0
FEWEST_EACH_WAY = 4
TOO_WIDE = 0.30
WIDE = 0.10
ROLLING_NO_TYRE_HAS = 0.05
UNLIKE_OTHERS = 3.5


def data_findings(day: Day, passes: Sequence[Pass]) -> list[Finding]:
    """Weather limits, balance of directions, number of passes: what costs accuracy before any fit."""
    return [*_weather(day), *_counts(day, passes)]


def result_findings(
    day: Day, posterior: DayPosterior, setups: Sequence[SetupResult]
) -> tuple[tuple[SetupResult, ...], list[Finding]]:
    """Findings of the fit; a setup whose area is too wide to be one loses its estimates, and a finding says so."""
    findings = [*_downforce(posterior), *_rolling(posterior), *_unlike(setups), *_innovations(setups)]
    findings += [*_energy(setups), *_prior_led(posterior, setups), *_two_methods(setups)]
    kept = []
    for setup in setups:
        area = setup.estimates.get("SCx")
        reason = _no_area(setup, area)
        if reason:
            findings.append(Finding("no-area", "stop", reason))
            drop = {k: v for k, v in setup.estimates.items() if k in ("grade", "head_wind_out", "c0", "c1")}
            kept.append(replace(setup, estimates=drop, budget=(), sample_scx=None))
            continue
        if area is not None and area.u95 > WIDE * area.value:
            findings.append(Finding("wide-interval", "check", _wide(setup, area, posterior)))
        kept.append(setup)
    if not posterior.mode.converged:
        findings.append(Finding("noise-search", "check", "The search for the strength of gusts and noise stopped "
                                "before it settled; the interval is from where it stood."))  # fmt: skip
    return tuple(kept), findings


def _weather(day: Day) -> Iterator[Finding]:
    winds = [r.wind_speed_mps.value for r in day.weather if r.wind_speed_mps]
    gusts = [r.gust_mps for r in day.weather if r.gust_mps]
    temperatures = [r.temperature_k.value for r in day.weather]
    if winds and max(winds) > MEAN_WIND_LIMIT_MPS:
        yield Finding("wind-limit", "check", f"Wind of {max(winds):.1f} m/s was read; the published road-load "
                      f"procedures stop at a mean of {MEAN_WIND_LIMIT_MPS:.0f} m/s, and a light car sooner.")  # fmt: skip
    if gusts and max(gusts) > GUST_LIMIT_MPS:
        yield Finding("gust-limit", "check", f"Gusts of {max(gusts):.1f} m/s were read; the published limit is "
                      f"{GUST_LIMIT_MPS:.0f} m/s.")  # fmt: skip
    cross = [
        abs(r.wind_speed_mps.value * np.sin(r.wind_from_rad.value - day.venue.heading_rad))
        for r in day.weather
        if r.wind_speed_mps and r.wind_from_rad and day.venue.heading_rad is not None
    ]
    if cross and max(cross) > CROSS_LIMIT_MPS:
        yield Finding("cross-wind", "check", f"A cross wind of {max(cross):.1f} m/s was read; above "
                      f"{CROSS_LIMIT_MPS:.0f} m/s the drag found is that of a yawed car.")  # fmt: skip
    if len(temperatures) > 1 and max(temperatures) - min(temperatures) > TEMPERATURE_DRIFT_K:
        yield Finding("temperature-drift", "note", f"The air changed by {max(temperatures) - min(temperatures):.0f} K "
                      "over the day; tyres and density moved with it.")  # fmt: skip


def _counts(day: Day, passes: Sequence[Pass]) -> Iterator[Finding]:
    used = [p for p in passes if p.used and p.kind == "coast-down"]
    for setup in day.setups:
        mine = [p for p in used if p.setup == setup.name]
        out, back = sum(p.direction > 0 for p in mine), sum(p.direction < 0 for p in mine)
        if not mine:
            continue
        if min(out, back) == 0:
            yield Finding("one-way", "check", f"Setup {setup.name}: all {len(mine)} coast-downs go one way or their "
                          "direction is unknown, so wind and grade can't be told from drag; coast the other way "
                          "as often.")  # fmt: skip
        elif abs(out - back) > max(1, 0.34 * len(mine)):
            yield Finding("unbalanced", "check", f"Setup {setup.name}: {out} coast-downs out and {back} back; what "
                          "wind and grade do cancels best in equal numbers.")  # fmt: skip
        elif min(out, back) < FEWEST_EACH_WAY:
            yield Finding("few-passes", "note", f"Setup {setup.name}: {out} coast-downs out and {back} back; fewer "
                          f"than {FEWEST_EACH_WAY} each way leave the wind's scatter poorly known.")  # fmt: skip
        highest, lowest = max(p.high_mps for p in mine), min(p.low_mps for p in mine)
        if highest > 0 and highest < 15.0:
            yield Finding("low-speed", "check", f"Setup {setup.name}: the fastest coast-down starts at "
                          f"{highest * 3.6:.0f} km/h; below 55 km/h drag is too small a part of the whole.")  # fmt: skip
        if lowest > 0 and highest / max(lowest, 0.1) < 1.7:
            yield Finding("short-coast", "check", f"Setup {setup.name}: the coast-downs span only "
                          f"{lowest * 3.6:.0f} to {highest * 3.6:.0f} km/h; rolling and drag part over a wider "
                          "range of speed.")  # fmt: skip


def _downforce(posterior: DayPosterior) -> Iterator[Finding]:
    for name in posterior.problem.setup_names:
        parameters = [posterior.problem.priors.parameters[posterior.problem.priors.index(f"scz_{a}:{name}")]
                      for a in ("front", "rear")]  # fmt: skip
        if any(p.source == "default" for p in parameters):
            yield Finding("downforce-assumed", "note", f"Setup {name}: no downforce was measured, typed or "
                          "predicted. SCx was parted from the tyres' answer to downforce with SCz = "
                          f"{sum(p.mean for p in parameters):.1f} ± {2 * np.hypot(*(p.u for p in parameters)):.1f} m²; "
                          "SCx_apparent needs no such assumption.")  # fmt: skip


def _rolling(posterior: DayPosterior) -> Iterator[Finding]:
    c0 = float(np.mean(posterior.samples[:, posterior.problem.priors.index("c0")]))
    if c0 > ROLLING_NO_TYRE_HAS:
        yield Finding("engine-braking", "stop", f"The rolling resistance found is {c0:.3f} of the weight, more than a "
                      "tyre has: the driveline was not free (lift in gear, regeneration) or a brake dragged.")  # fmt: skip


def _unlike(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    """A pass whose own area or rolling resistance stands far from the others' (a dragging brake, traffic)."""
    for setup in setups:
        if len(setup.fits) < 4 or "SCx" not in setup.estimates:
            continue
        areas = np.array([f.scx for f in setup.fits])
        middle = float(np.median(areas))
        spread = max(1.4826 * float(np.median(np.abs(areas - middle))), 1e-6)
        for fit in setup.fits:
            own = float(np.hypot(fit.scx_u, spread))
            if abs(fit.scx - middle) > UNLIKE_OTHERS * own:
                yield _unlike_finding(fit, setup.name, f"gives SCx {fit.scx:.2f} m² against {middle:.2f} m²")
            elif fit.resistance_scatter > 0.12:
                yield _unlike_finding(fit, setup.name, f"rolls {100 * fit.resistance_scatter:.0f} % harder than the "
                                      "others: look for a dragging brake or a soft tyre")  # fmt: skip


def _unlike_finding(fit: PassFit, setup: str, what: str) -> Finding:
    text = f"Run {fit.of.run}, coast-down from {fit.of.start_s:.0f} s (setup {setup}) {what}."
    return Finding("pass-unlike-others", "check", text, fit.of.run, fit.of.start_s, fit.of.end_s)


def _innovations(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    """Innovations should be white: first autocorrelation over all passes within 4 standard errors and 0.2."""
    pairs, power, n = 0.0, 0.0, 0
    for setup in setups:
        for fit in setup.fits:
            e = fit.innovations - np.mean(fit.innovations)
            pairs += float(e[1:] @ e[:-1])
            power += float(e @ e)
            n += len(e)
    if n > 50 and power > 0 and abs(pairs / power) > max(0.2, 4.0 / np.sqrt(n)):
        yield Finding("innovations-not-white", "check", f"What the fit leaves is not white (lag-1 correlation "
                      f"{pairs / power:+.2f}): a speed sensor has errors the model does not know; the interval may be "
                      "too narrow.")  # fmt: skip


def _energy(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    closures = np.array([f.energy_closure for s in setups for f in s.fits])
    if len(closures) >= 4:
        off, u = float(np.mean(closures)) - 1.0, float(np.std(closures, ddof=1) / np.sqrt(len(closures)))
        if abs(off) > max(4.0 * u, 0.02):
            yield Finding("energy-open", "check", f"The fitted forces do {100 * off:+.1f} % more work than the car "
                          "lost in kinetic energy, more than gusts explain.")  # fmt: skip


def _prior_led(posterior: DayPosterior, setups: Sequence[SetupResult]) -> Iterator[Finding]:
    for setup in setups:
        area = setup.estimates.get("SCx")
        if area is None:
            continue
        linear = [line for line in setup.budget if line.input.endswith((" c1", " T1"))]
        part = float(np.sqrt(sum(line.contribution**2 for line in linear)))
        if part > 0.7 * area.u:
            yield Finding("linear-resistance", "note", f"Setup {setup.name}: how the tyres' and driveline's drag grow "
                          "with speed is known from stated values alone and makes most of the uncertainty "
                          f"(± {2 * part:.3f} m² of ± {area.u95:.3f}); a spin-down of the driven wheels on stands "
                          "would narrow it.")  # fmt: skip


def _two_methods(setups: Sequence[SetupResult]) -> Iterator[Finding]:
    for setup in setups:
        area, method = setup.estimates.get("SCx_apparent"), setup.interval_method
        other = method.scx_two_term if method else None
        if area is None or other is None:
            continue
        u = float(np.hypot(area.u, other.u))
        # the two-term fit lets the linear resistance into the area: at most about a tenth of it
        if abs(other.value - area.value) > 3.0 * u + 0.10 * area.value:
            yield Finding("methods-disagree", "check", f"Setup {setup.name}: the interval method with two terms gives "
                          f"{other.value:.2f} m² where the day's model gives {area.value:.2f} m² (apparent), more "
                          "apart than both allow.")  # fmt: skip


def _no_area(setup: SetupResult, area: Estimate | None) -> str:
    if area is None:
        return ""
    used = sum(p.used and p.kind == "coast-down" for p in setup.passes)
    if area.value <= 0 or area.u > TOO_WIDE * area.value:
        return (
            f"Setup {setup.name}: {used} coast-down{'s' if used != 1 else ''} leave SCx too uncertain to be a number "
            f"(u {area.u:.2f} m² on {area.value:.2f} m²); more passes, both ways, over a wider range of speed."
        )
    return ""


def _wide(setup: SetupResult, area: Estimate, posterior: DayPosterior) -> str:
    worst = setup.budget[0].input if setup.budget else "gusts and sensor noise"
    return (
        f"Setup {setup.name}: SCx is known to ± {100 * area.u95 / area.value:.0f} % only; most of that is {worst}."
    )
