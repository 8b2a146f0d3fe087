"""A fitted day as text for a terminal: the sentence first, then tables, then findings."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from server.analysis.correlated import DayCorrelation
from server.analysis.result import Comparison, DayResult, Delta, Estimate, Pass, SetupResult
from server.commands.report_correlation import correlation_lines
from server.commands.report_loads import SCALES, Scale, load_sentences, load_sources, stand_tests
from server.results.finding_groups import finding_groups
from server.results.quantities import ESTIMATES
from server.testday.rounding import DIMENSIONLESS, rounded, with_uncertainty
from server.testday.values import Finding

AREA = "SCx"
NO_EFFECT_P = 0.05
BUDGET_LINES = 4
SHARED_LINE_FROM = 3
# Reference condition → word, factor and offset from SI, decimals, unit.
CONDITIONS: dict[str, tuple[str, float, float, int, str]] = {
    "speed_mps": ("speed", 3.6, 0.0, 1, "km/h"),
    "density_kgm3": ("air density", 1.0, 0.0, 4, "kg/m³"),
    "pressure_pa": ("pressure", 0.01, 0.0, 1, "hPa"),
    "temperature_k": ("temperature", 1.0, -273.15, 1, "°C"),
    "humidity": ("humidity", 100.0, 0.0, 0, "%"),
    "front_ride_height_m": ("front ride height", 1e3, 0.0, 1, "mm"),
    "rear_ride_height_m": ("rear ride height", 1e3, 0.0, 1, "mm"),
}


def report(result: DayResult, correlation: DayCorrelation | None = None) -> str:
    """The whole report; sections are parted by blank lines."""
    sections = [
        [sentence(setup, result.findings) for setup in result.setups],
        load_sentences(result),
        [comparison_sentence(each) for each in result.comparisons if _has_area(each)],
        _reference(result),
        *[_estimates(setup) for setup in result.setups],
        *[_differences(each) for each in result.comparisons],
        *(correlation_lines(correlation) if correlation is not None else ()),
        load_sources(result),
        stand_tests(result),
        _budgets(result),
        _interval_methods(result),
        _passes(result),
        _findings(result.findings),
    ]
    return "\n\n".join("\n".join(section) for section in sections if section)


def sentence(setup: SetupResult, findings: tuple[Finding, ...] = ()) -> str:
    """What the day says of one setup, or why there is no area."""
    area = setup.estimates.get(AREA)
    if area is None or not _whole(area):
        return " ".join([f"Setup {setup.name}: no drag area can be had.", *_reasons(setup, findings)[:1]])
    return f"Setup {setup.name}: SCx {_value(area)} from {_count(setup.passes)}."


def _reasons(setup: SetupResult, findings: tuple[Finding, ...]) -> list[str]:
    """Texts of the findings that stop this setup: about one of its runs, or about the whole day."""
    runs = {each.run for each in setup.passes} | {None}
    return [finding.text for finding in findings if finding.grade == "stop" and finding.run in runs]


def comparison_sentence(comparison: Comparison) -> str:
    """Setup against baseline in words; a difference that may be chance is called so."""
    delta = comparison.deltas[AREA]
    change = f"{comparison.setup} against {comparison.baseline}: SCx {_signed(delta)}"
    doubt = "" if not delta.p >= NO_EFFECT_P else ", no difference can be told"
    least = f"the smallest difference this day could have seen is {_like(delta.smallest_seen, delta)}"
    return f"{change}{doubt} ({_probability(delta.p)}; {least})."


def _value(estimate: Estimate) -> str:
    return with_uncertainty(estimate.value, estimate.u95, estimate.unit)


def _scaled(name: str, estimate: Estimate) -> str:
    """Value ± U95 in the units of the track: balance in % front, ride heights in mm."""
    scale = SCALES.get(name, Scale(1.0, estimate.unit, estimate.unit))
    return with_uncertainty(scale.factor * estimate.value, scale.factor * estimate.u95, scale.unit)


def _scaled_delta(name: str, delta: Delta) -> Delta:
    """A difference in the units of the track: balance in points."""
    scale = SCALES.get(name)
    if scale is None:
        return delta
    numbers = ("value", "u", "low95", "high95", "smallest_seen")
    scaled = {key: scale.factor * getattr(delta, key) for key in numbers}
    return replace(delta, unit=scale.difference, **scaled)


def _whole(each: Estimate | Delta) -> bool:
    return all(map(math.isfinite, (each.value, each.low95, each.high95)))


def _has_area(comparison: Comparison) -> bool:
    return AREA in comparison.deltas and _whole(comparison.deltas[AREA])


def _signed(delta: Delta) -> str:
    text = with_uncertainty(delta.value, delta.u95, delta.unit)
    return text if text.startswith("-") else f"+{text}"


def _like(number: float, delta: Delta) -> str:
    """A number rounded to the same place as the difference it belongs to."""
    text, _ = rounded(number, delta.u95)
    return f"{text} {delta.unit}" if delta.unit not in DIMENSIONLESS else text


def _probability(p: float) -> str:
    """How likely so large a difference is by chance alone."""
    if math.isnan(p):
        return "no p can be had"
    return "p less than 0.001" if p < 0.001 else f"p = {p:.2g}"


def _count(passes: tuple[Pass, ...]) -> str:
    """`8 coast-downs, 4 out and 4 back` of the passes that were used."""
    used = [each for each in passes if each.used and each.kind == "coast-down"]
    out = sum(each.direction > 0 for each in used)
    back = sum(each.direction < 0 for each in used)
    ways = f", {out} out and {back} back" if out + back == len(used) else ""
    return f"{len(used)} coast-down{'s' if len(used) != 1 else ''}{ways}"


def _reference(result: DayResult) -> list[str]:
    """The day's name and what its numbers hold for, in the units people at a track use."""
    given = [(name, value) for name, value in result.reference.items() if value is not None]
    shown = ", ".join(_condition(name, value) for name, value in given)
    return [f"{result.name}. The areas hold for {shown}." if shown else f"{result.name}."]


def _condition(name: str, value: float | str) -> str:
    """One reference condition; one that is not listed is shown under its own name."""
    if isinstance(value, str):
        return value if name == "wind" else f"{name.replace('_', ' ')} {value}"
    word, factor, offset, digits, unit = CONDITIONS.get(name, (name, 1.0, 0.0, 4, ""))
    return f"{word} {factor * value + offset:.{digits}f} {unit}".rstrip()


def _budgets(result: DayResult) -> list[str]:
    """The longest lines of each setup's budget: what to know better next time."""
    rows = []
    for setup in result.setups:
        lines = [line for line in setup.budget if line.quantity == AREA and math.isfinite(line.contribution)]
        longest = sorted(lines, key=lambda line: -line.contribution)[:BUDGET_LINES]
        rows += [(setup.name, line.input, f"{line.contribution:#.2g} m²", line.source) for line in longest]
    return [f"What u of SCx is made of, the {BUDGET_LINES} largest parts", *_table(rows)] if rows else []


def _estimates(setup: SetupResult) -> list[str]:
    """One estimate a line: value ± U95, unit, where it comes from."""
    if not setup.estimates:
        return []
    rows = [(name, _scaled(name, each), each.source) for name, each in _in_order(setup.estimates) if _whole(each)]
    return [f"Setup {setup.name}, value ± U95", *_table(rows)]


def _in_order(estimates: Mapping[str, Estimate]) -> list[tuple[str, Estimate]]:
    """Listed quantities in their order, then any other."""
    places = {name: place for place, name in enumerate(ESTIMATES)}
    return sorted(estimates.items(), key=lambda entry: places.get(entry[0], len(places)))


def _differences(comparison: Comparison) -> list[str]:
    if not comparison.deltas:
        return []
    rows = [
        (name, _signed(_scaled_delta(name, each)), _probability(each.p))
        for name, each in comparison.deltas.items()
        if _whole(each)
    ]
    return [f"{comparison.setup} − {comparison.baseline}, value ± U95", *_table(rows)]


def _interval_methods(result: DayResult) -> list[str]:
    """The published speed-interval method beside the fit, where it could be applied."""
    rows = []
    for setup in result.setups:
        method = setup.interval_method
        if method is None:
            continue
        three, two = (
            _value(area) if area is not None and _whole(area) else "not to be had"
            for area in (method.scx_three_term, method.scx_two_term)
        )
        rows.append((setup.name, f"three terms {three}", f"two terms {two}"))
    return ["SCx by the speed-interval method, for comparison", *_table(rows)] if rows else []


def _passes(result: DayResult) -> list[str]:
    """How many were used, and why the others were not; many of one kind for one reason share a line."""
    all_passes = [each for setup in result.setups for each in setup.passes if each.kind != "zero"]
    turned_down = [each for each in all_passes if not each.used]
    lines = [f"Passes: {len(all_passes) - len(turned_down)} used, {len(turned_down)} turned down"]
    alike: dict[tuple[str, str], list[Pass]] = {}
    for each in turned_down:
        alike.setdefault((each.kind, each.reason), []).append(each)
    rows: list[tuple[str, ...]] = []
    for (kind, reason), passes in alike.items():
        if len(passes) >= SHARED_LINE_FROM:
            rows.append((f"{len(passes)} times", "", kind, reason))
        else:
            rows += [(f"run {p.run}", f"{p.start_s:.1f}–{p.end_s:.1f} s", kind, reason) for p in passes]
    return lines + _table(rows)


def _findings(findings: tuple[Finding, ...]) -> list[str]:
    """Gravest first; many notes of one code take one line with what they are about."""
    lines = []
    for group in finding_groups(findings):
        where = [f" run {each.run}:" if each.run is not None else "" for each in group.findings]
        if group.text:
            lines.append(f"  {group.grade}: {group.text} [{group.code}]")
            lines += [f"   {run} {each.text}" for run, each in zip(where, group.findings, strict=True)]
        else:
            lines.append(f"  {group.grade}:{where[0]} {group.findings[0].text} [{group.code}]")
    return ["Findings", *lines] if lines else []


def _table(rows: list[tuple[str, ...]]) -> list[str]:
    """Columns of equal width, two blanks apart, two in."""
    if not rows:
        return []
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    padded = ("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in rows)
    return [f"  {line.rstrip()}" for line in padded]
