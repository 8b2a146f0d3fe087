"""Axle loads, heights and stand tests of a result, laid out for its page."""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.analysis.result import AtSpeed, DayResult, Estimate, SetupResult, SourceCheck, StandTest
from server.figures.fits import AXLE_WORDS, AXLES, load_sources, loads_of
from server.figures.theme import SetupMark, setup_marks
from server.results.load_sentences import (
    SOURCE_NAMES,
    bend_sentence,
    check_words,
    measured,
    stand_words,
    value_text,
    weight_sentence,
    zero_text,
)
from server.results.quantities import input_text, true_minus
from server.testday.rounding import with_uncertainty

MPS_TO_KMH = 3.6
MM, DEGREES = 1e3, 180.0 / math.pi
# Column with its unit, field of AtSpeed, factor from SI.
SPEED_COLUMNS = (
    ("downforce [N]", "downforce_n", 1.0),
    ("front wheel [N]", "wheel_load_front_n", 1.0),
    ("rear wheel [N]", "wheel_load_rear_n", 1.0),
    ("ride height front [mm]", "ride_height_front_m", MM),
    ("rear [mm]", "ride_height_rear_m", MM),
    ("rake [°]", "rake_rad", DEGREES),
    ("sunk front [mm]", "sink_front_m", MM),
    ("sunk rear [mm]", "sink_rear_m", MM),
)


@dataclass(frozen=True, slots=True)
class SpeedTable:
    """A setup at steady speeds: written speeds and values; columns that no speed has are left out."""

    name: str
    mark: SetupMark
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class CheckRow:
    """Two sources of an axle's load against each other."""

    axle: str
    sources: str
    ratio: str
    words: str


@dataclass(frozen=True, slots=True)
class ZeroRow:
    """Zeros of a setup's passes against the standing car."""

    mark: SetupMark
    axle: str
    source: str
    passes: int
    zeros: str


@dataclass(frozen=True, slots=True)
class StandRow:
    """A measurement on the standing car."""

    quantity: str
    measured: str
    entered: str
    words: str
    text: str


@dataclass(frozen=True, slots=True)
class BendLine:
    """Whether a setup's areas depend on ride height, in words."""

    text: str
    bent: bool


@dataclass(frozen=True, slots=True)
class LoadsView:
    """Everything the page says of loads, heights and stand tests; each part is empty where the day has none."""

    sources: str
    areas: tuple[str, ...]
    checks: tuple[CheckRow, ...]
    zeros: tuple[ZeroRow, ...]
    bends: tuple[BendLine, ...]
    weights: tuple[str, ...]
    speeds: tuple[SpeedTable, ...]
    stands: tuple[StandRow, ...]


def loads_view(result: DayResult) -> LoadsView:
    """Lay the loads of a result out."""
    marks = setup_marks([setup.name for setup in result.setups])
    return LoadsView(
        sources=" and ".join(SOURCE_NAMES[one] for one in load_sources(result)),
        areas=tuple(text for setup in result.setups if (text := _areas(setup))),
        checks=tuple(_check_row(check) for check in result.source_checks),
        zeros=tuple(_zero_rows(result, marks)),
        bends=tuple(BendLine(bend_sentence(s.name, s.bend), s.bend.bent) for s in result.setups if s.bend),
        weights=tuple(text for setup in result.setups if (text := weight_sentence(setup))),
        speeds=tuple(_speed_table(setup, marks[setup.name]) for setup in result.setups if setup.at_speeds),
        stands=tuple(_stand_row(test) for test in result.stand_tests),
    )


def _areas(setup: SetupResult) -> str:
    found = [(axle, measured(setup, f"SCz_{axle}")) for axle in AXLES]
    told = [f"{axle} {value_text(f'SCz_{axle}', one)}" for axle, one in found if one]
    return f"Setup {setup.name}: SCz {', '.join(told)}." if told else ""


def _check_row(check: SourceCheck) -> CheckRow:
    ratio = with_uncertainty(check.ratio.value, check.ratio.u95)
    sources = f"{SOURCE_NAMES[check.first]} over {SOURCE_NAMES[check.second]}"
    return CheckRow(AXLE_WORDS[check.axle], sources, ratio, check_words(check))


def _zero_rows(result: DayResult, marks: dict[str, SetupMark]) -> list[ZeroRow]:
    rows = []
    for setup in result.setups:
        for axle in AXLES:
            for source in load_sources(result):
                told = [(load.zero_n, load.zero_u_n or 0.0) for _, load in loads_of(setup, axle, source)]
                zeros = [(zero, u) for zero, u in told if zero is not None and math.isfinite(zero)]
                if zeros:
                    names = (AXLE_WORDS[axle], SOURCE_NAMES[source])
                    rows.append(ZeroRow(marks[setup.name], *names, len(zeros), zero_text(zeros)))
    return rows


def _speed_table(setup: SetupResult, mark: SetupMark) -> SpeedTable:
    """Sinks stand there only where heights do not."""
    has_heights = any(one.ride_height_front_m or one.ride_height_rear_m for one in setup.at_speeds)
    columns = [
        (head, name, factor)
        for head, name, factor in SPEED_COLUMNS
        if any(_known(one, name) for one in setup.at_speeds) and not (has_heights and name.startswith("sink"))
    ]
    rows = tuple(
        (f"{MPS_TO_KMH * one.speed_mps:.0f}", *(_cell(_known(one, name), factor) for _, name, factor in columns))
        for one in setup.at_speeds
    )
    return SpeedTable(setup.name, mark, ("speed [km/h]", *(head for head, _, _ in columns)), rows)


def _known(one: AtSpeed, name: str) -> Estimate | None:
    value: Estimate | None = getattr(one, name)
    return value if value is not None and math.isfinite(value.value) and math.isfinite(value.u95) else None


def _cell(value: Estimate | None, factor: float) -> str:
    return true_minus(with_uncertainty(factor * value.value, factor * value.u95)) if value else ""


def _stand_row(test: StandTest) -> StandRow:
    entered = _input(test.entered) if test.entered else ""
    quantity = test.quantity[:1].upper() + test.quantity[1:]
    return StandRow(quantity, _input(test.measured), entered, stand_words(test), test.text)


def _input(one: Estimate) -> str:
    return input_text(one.value, one.u95, one.unit)
