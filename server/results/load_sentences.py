"""What a result says of downforce, balance and ride heights in plain sentences."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from server.analysis.result import BendTest, Comparison, DayResult, Delta, Estimate, SetupResult, SourceCheck, StandTest
from server.results.quantities import ESTIMATES, delta_text, p_words, signed, smallest_text, true_minus
from server.testday.rounding import rounded, with_uncertainty

SIGNIFICANT = 0.05
APART_Z = 2.0
SOURCE_NAMES = {"damper": "damper travel", "ride height": "ride height", "push rod": "push-rod load"}
# Quantity → what a larger and a smaller one are called.
CHANGES = {"SCz": ("more downforce", "less downforce"), "balance_front": ("further forward", "further back")}


@dataclass(frozen=True, slots=True)
class Piece:
    """A value in a running sentence, and the words before it."""

    before: str
    value: str


def measured(setup: SetupResult, name: str) -> Estimate | None:
    """The estimate when this day measured it."""
    found = setup.estimates.get(name)
    return found if found is not None and found.source == "measured" and math.isfinite(found.value) else None


def made_pieces(setup: SetupResult, reference: Mapping[str, float | str | None]) -> tuple[Piece, ...]:
    """What follows SCx in the first sentence: downforce, balance and L/D, at which speed, at which heights."""
    found: list[Piece] = []
    for name, before, after in (("SCz", "SCz ", ""), ("balance_front", "", " front"), ("LD", "L/D ", "")):
        if one := measured(setup, name):
            found.append(Piece(f", {before}", f"{value_text(name, one)}{after}"))
    if not found:
        for name, word in (("SCz_front", "SCz front"), ("SCz_rear", "SCz rear")):
            if one := measured(setup, name):
                found.append(Piece(f", {word} ", value_text(name, one)))
    speed = reference.get("speed_mps")
    if found and isinstance(speed, int | float):
        found.append(Piece(" at ", f"{speed:g} m/s ({3.6 * speed:.0f} km/h)"))
    heights = [(axle, setup.estimates.get(f"ride_height_{axle}")) for axle in ("front", "rear")]
    told = [(axle, one) for axle, one in heights if found and one is not None and math.isfinite(one.value)]
    for i, (axle, one) in enumerate(told):
        found.append(Piece(", " if i else ", riding at ", f"{value_text(f'ride_height_{axle}', one)} {axle}"))
    return tuple(found)


def value_text(name: str, one: Estimate) -> str:
    """Value ± U95 unit in screen units."""
    shown = ESTIMATES[name]
    return true_minus(with_uncertainty(shown.factor * one.value, shown.factor * one.u95, shown.unit))


def load_changes(result: DayResult, comparison: Comparison) -> str:
    """“B against A: SCz +0.21 ± 0.05 m² (p < 0.001), more downforce; balance …” where both were measured; else ''."""
    setups = {setup.name: setup for setup in result.setups}
    both = [setups[name] for name in (comparison.setup, comparison.baseline) if name in setups]
    parts = [
        _change(name, comparison.deltas[name])
        for name in CHANGES
        if name in comparison.deltas and all(measured(setup, name) for setup in both)
    ]
    return f"{comparison.setup} against {comparison.baseline}: {'; '.join(parts)}." if parts else ""


def _change(name: str, delta: Delta) -> str:
    symbol = "balance" if name == "balance_front" else name
    head = f"{symbol} {signed(delta_text(name, delta))} ({p_words(delta.p)})"
    if delta.p < SIGNIFICANT:
        return f"{head}, {CHANGES[name][0 if delta.value > 0 else 1]}"
    return f"{head}, no change that this day could tell, it would have seen {smallest_text(name, delta)}"


def bend_sentence(setup: str, bend: BendTest) -> str:
    """Whether the areas depend on ride height, as far as the day can tell."""
    chance = f"{p_words(bend.p)}, {bend.replicates} simulated days without a bend"
    if not bend.bent:
        return f"Setup {setup}: no bend of SCz over the ride heights visited can be told ({chance})."
    slopes = ", ".join(f"{axle} {_per_mm(slope)}" for axle, slope in bend.slope.items())
    return (
        f"Setup {setup}: SCz changes with ride height ({chance}): {slopes} for each mm that the axle sinks. "
        "The areas are those of the curve at the reference condition."
    )


def _per_mm(slope: Estimate) -> str:
    """A relative change per metre as per cent per millimetre."""
    return signed(with_uncertainty(0.1 * slope.value, 0.1 * slope.u95, "%"))


def check_words(check: SourceCheck) -> str:
    """What the ratio of two sources means."""
    if abs(check.z) < APART_Z:
        return "agree within what is known of both"
    return f"apart by {abs(check.z):.1f} u: look for a slipped sensor, a wrong motion ratio or rate"


def stand_words(test: StandTest) -> str:
    """Measured against entered in words."""
    if test.entered is None or test.z is None or not math.isfinite(test.z):
        return "nothing was entered"
    if abs(test.z) < APART_Z:
        return "agrees with what was entered"
    return f"{abs(test.z):.1f} u from what was entered: look which one holds"


def weight_sentence(setup: SetupResult) -> str:
    """At which speed the downforce would equal the weight, and whether the car has been there; '' without."""
    speed = measured(setup, "weight_speed")
    if speed is None:
        return ""
    fastest = max((one.high_mps for one in setup.passes if one.used), default=0.0)
    text = f"Setup {setup.name}: downforce equals the weight at {value_text('weight_speed', speed)}"
    if fastest and speed.value > fastest:
        return f"{text}; that is beyond the {3.6 * fastest:.0f} km/h that was driven."
    return f"{text}."


def zero_text(zeros: list[tuple[float, float]]) -> str:
    """Zeros of passes against the standing car, (zero, u) in N: where they lie, and the u of one."""
    low, high = min(zero for zero, _ in zeros), max(zero for zero, _ in zeros)
    u = sorted(u for _, u in zeros)[len(zeros) // 2]
    ends = [true_minus(rounded(one, 2.0 * u)[0]) if u > 0 else f"{one:.0f}" for one in (low, high)]
    return f"{ends[0]} to {ends[1]} N" + (f", u {rounded(u, u)[0]} N each" if u > 0 else "")
