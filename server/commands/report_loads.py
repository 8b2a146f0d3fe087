"""What a fitted day says of downforce, balance, ride heights and stand tests, as lines for a terminal."""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.analysis.result import DayResult, Estimate, SetupResult
from server.results.load_sentences import (
    SOURCE_NAMES,
    bend_sentence,
    check_words,
    made_pieces,
    stand_words,
    weight_sentence,
)
from server.results.quantities import input_text
from server.testday.rounding import with_uncertainty


@dataclass(frozen=True, slots=True)
class Scale:
    """Factor from SI, unit of a value and unit of a difference."""

    factor: float
    unit: str
    difference: str


SCALES = {
    "balance_front": Scale(100.0, "% front", "points"),
    "ride_height_front": Scale(1e3, "mm", "mm"),
    "ride_height_rear": Scale(1e3, "mm", "mm"),
    "weight_speed": Scale(3.6, "km/h", "km/h"),
}


def load_sentences(result: DayResult) -> list[str]:
    """Per setup what it makes at which heights, and whether that depends on them; nothing where nothing is measured."""
    lines = []
    for setup in result.setups:
        lines += [line for line in (_made(result, setup), weight_sentence(setup)) if line]
        lines += [bend_sentence(setup.name, setup.bend)] if setup.bend else []
    return lines


def _made(result: DayResult, setup: SetupResult) -> str:
    pieces = made_pieces(setup, result.reference)
    text = "".join(f"{piece.before}{piece.value}" for piece in pieces).removeprefix(", ")
    return f"Setup {setup.name}: {text}." if text else ""


def load_sources(result: DayResult) -> list[str]:
    """Sources of the axle loads and how any two of them compare."""
    if not result.load_sources:
        return []
    lines = [f"Axle loads by {' and '.join(SOURCE_NAMES[source] for source in result.load_sources)}"]
    for check in result.source_checks:
        if math.isfinite(check.ratio.value) and math.isfinite(check.ratio.u95):
            ratio = with_uncertainty(check.ratio.value, check.ratio.u95)
            sources = f"{SOURCE_NAMES[check.first]} over {SOURCE_NAMES[check.second]}"
            lines.append(f"  {check.axle} axle, {sources}: {ratio}, {check_words(check)}")
    return lines


def stand_tests(result: DayResult) -> list[str]:
    """One measurement on the standing car a line, against what was entered."""
    lines = []
    for test in result.stand_tests:
        entered = f" (entered {_input(test.entered)})" if test.entered else ""
        lines.append(f"  {test.quantity}: {_input(test.measured)}{entered}; {stand_words(test)}")
    return ["Stand tests", *lines] if lines else []


def _input(one: Estimate) -> str:
    return input_text(one.value, one.u95, one.unit)
