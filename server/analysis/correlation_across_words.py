"""What all setups together say, in words."""

from __future__ import annotations

from server.analysis.correlated import Across
from server.analysis.correlation_words import WRITTEN
from server.inference.scatter_mean import CommonValue
from server.testday.rounding import rounded

EXACT_FROM = 5


def across_sentences(found: Across) -> tuple[str, ...]:
    """Bias, slope, limits, order and factor, each in a sentence; then what there are too few setups for."""
    lines = [_bias(found), _slope(found), _limits(found), _order(found), _factor(found)]
    return (*(line for line in lines if line), *found.told)


def _bias(found: Across) -> str:
    one = found.relative
    if one is None:
        return ""
    n, symbol = len(found.pairs.setups), WRITTEN[found.pairs.quantity].symbol
    side = "high" if one.value > 0 else "low"
    sure = one.low95 > 0.0 or one.high95 < 0.0
    doubt = "" if sure else ", which may be none"
    scatter = f"{100 * one.scatter:.1f} % (95 %: {100 * one.scatter_low95:.1f} to {100 * one.scatter_high95:.1f} %)"
    return (
        f"Over {n} setups the prediction of {symbol} is {_percent(abs(one.value))} {side}{doubt} "
        f"({_span(one, 100.0, ' %')}); one setup differs from that by {scatter} beyond what is measured and meshed."
    )


def _slope(found: Across) -> str:
    line = found.line
    if line is None or line.low95 is None or line.high95 is None:
        return ""
    half = 0.5 * (line.high95 - line.low95)
    slope, low, high = (rounded(each, half)[0] for each in (line.slope, line.low95, line.high95))
    head = f"Where the measured {WRITTEN[found.pairs.quantity].symbol} differs by 1, the predicted differs by {slope}"
    if line.low95 <= 1.0 <= line.high95:
        return f"{head} (95 %: {low} to {high}): differences come out as large as measured."
    return f"{head} (95 %: {low} to {high}): differences come out too {'large' if line.slope > 1 else 'small'}."


def _limits(found: Across) -> str:
    one = found.limits
    if one is None:
        return ""
    written = WRITTEN[found.pairs.quantity]
    lower, upper = (rounded(written.factor * each, written.factor * one.sd)[0] for each in (one.lower, one.upper))
    unit = f" {written.difference}" if written.difference else ""
    return (
        f"A further setup of this kind is expected between {_minus(lower)} and {_minus(upper)}{unit} of its measured"
        " value (limits of agreement, each with its own interval in the table)."
    )


def _order(found: Across) -> str:
    one = found.order
    if one is None:
        return ""
    pairs = one.kept + one.turned + one.untold
    told = one.kept + one.turned
    if told == 0:
        return f"Of {pairs} pairs of setups the measurement orders none, so the order is not put to the test."
    kept = f"Of {pairs} pairs of setups the measurement orders {told}; the prediction keeps {one.kept} of them"
    n = len(found.pairs.setups)
    if n < EXACT_FROM:
        return f"{kept}. With {n} setups even a perfect order may be chance."
    chance = "less than 0.001" if one.tau_p < 0.001 else f"{one.tau_p:.2g}"
    return f"{kept} (Kendall's τ {one.tau:.2f}, p {chance}; Spearman's ρ {one.rho:.2f})."


def _factor(found: Across) -> str:
    one = found.factor
    if one is None:
        return ""
    head = f"Predictions times {rounded(one.value, 0.5 * (one.high95 - one.low95))[0]} ({_span(one, 1.0, '')})"
    if found.left_out is None:
        return f"{head} would lie on the measurements."
    before, after = (100.0 * each for each in found.left_out)
    worth = "worth it" if after < before else "no gain"
    return (
        f"{head} would lie on the measurements: a setup left out is then off by {after:.1f} % instead of"
        f" {before:.1f} % (RMS), {worth}."
    )


def _span(one: CommonValue, factor: float, unit: str) -> str:
    half = 0.5 * factor * (one.high95 - one.low95)
    low, high = (_minus(rounded(factor * each, half)[0]) for each in (one.low95, one.high95))
    return f"95 %: {low} to {high}{unit}"


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %"


def _minus(text: str) -> str:
    return text.replace("-", "−", 1)
