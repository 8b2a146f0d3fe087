"""The day as a team without a logger brings it home: coast-downs timed by hand from a speedometer.

What is known of the true motion goes through a speedometer that reads high, a person who says 'now' a little off the
mark and a little late, a display rounded to a tenth or to a whole second, and a sheet on which a mark may be missing.
The sheet is a CSV in one of its forms, read by the product's own reader.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.readers.join import join_run
from server.readers.typed_times import read_typed_times
from server.testday.values import Day, LogFile, Run
from tests.simulator.day import HostileDay
from tests.simulator.drive import TrueLeg
from tests.simulator.scenario import Scenario, draw_scenario

FloatArray = NDArray[np.float64]
KMH = 1.0 / 3.6
LATE_S = 0.25
MISSED = 0.04


@dataclass(frozen=True, slots=True)
class Typist:
    """Who times, with what. gain, offset_kmh: of the speedometer; bow: its curve, a share of the reading at most.

    step_kmh: between marks; rounded_s: of the display; told: gain measured to 1 % and written down;
    table: both-ways table instead of marks; one_file: a whole setup on one sheet.
    """

    gain: float
    offset_kmh: float
    bow: float
    time_sd_s: float
    reading_sd_kmh: float
    step_kmh: float
    rounded_s: float
    told: bool
    table: bool
    one_file: bool


def draw_typed_scenario(seed: int) -> Scenario:
    """The mixture with two to six pairs of one or two setups."""
    rng = np.random.default_rng([seed, 0x7E5])
    pairs, setups = int(rng.choice([2, 3, 4, 6])), int(rng.choice([1, 2], p=[0.7, 0.3]))
    return replace(draw_scenario(seed), pairs=pairs, setups=setups, one_way=False, passes_per_run=1)


def draw_typist(seed: int) -> Typist:
    """The same seed gives the same typist. The speedometer is 0 to 10 % high, half of them by up to 2 km/h more."""
    rng = np.random.default_rng([seed, 0x7E6])
    return Typist(
        gain=float(rng.uniform(1.0, 1.1)),
        offset_kmh=float(rng.uniform(0.0, 2.0) * (rng.random() < 0.5)),
        bow=float(rng.normal(0.0, 0.002)),
        time_sd_s=float(rng.uniform(0.1, 0.25)),
        reading_sd_kmh=float(rng.uniform(0.2, 0.6)),
        step_kmh=float(rng.choice([5.0, 10.0], p=[0.3, 0.7])),
        rounded_s=float(rng.choice([0.1, 1.0], p=[0.7, 0.3])),
        told=bool(rng.random() < 0.3),
        table=bool(rng.random() < 0.4),
        one_file=bool(rng.random() < 0.5),
    )


def typed_day(hostile: HostileDay) -> HostileDay:
    """The same day with every recording replaced by what was typed by hand."""
    seed = int(hostile.day.name.split()[-1])
    typist, rng = draw_typist(seed), np.random.default_rng([seed, 0x7E7])
    told = typist.gain * (1.0 + 0.01 * float(rng.standard_normal()))
    sheets: list[tuple[Run, list[str]]] = []
    for run, true in zip(hostile.day.runs, hostile.runs, strict=True):
        legs = [leg for leg in true.legs if leg.inputs.cruise == 0.0]
        lines = [line for leg in legs for line in _lines(leg, typist, rng)]
        if typist.one_file and hostile.scenario.setups == 1 and sheets:
            sheets[0][1].extend(lines)
        else:
            sheets.append((run, lines))
    runs = tuple(_read(hostile.day, run, _sheet(lines, typist, told)) for run, lines in sheets if lines)
    return replace(hostile, day=replace(hostile.day, runs=runs))


def _lines(leg: TrueLeg, typist: Typist, rng: np.random.Generator) -> list[str]:
    """One coast-down's lines without their header; none where fewer than two marks were caught."""
    v = leg.column("v")[leg.coasting]
    t = (leg.time_s - leg.begins_s)[leg.coasting]
    top = float(v.max()) / KMH
    reading = (typist.gain * v / KMH + typist.offset_kmh) * (1.0 + typist.bow * np.sin(2.0 * np.pi * v / KMH / top))
    step = typist.step_kmh
    marks = step * np.arange(np.floor((reading[0] - 1.0) / step), np.ceil((reading[-1] + 1.0) / step) - 1.0, -1.0)
    seen = marks + typist.reading_sd_kmh * rng.standard_normal(marks.size)
    steady = np.minimum.accumulate(reading)
    when = np.interp(-seen, -steady, t) + LATE_S + typist.time_sd_s * rng.standard_normal(marks.size)
    caught = rng.random(marks.size) >= MISSED
    marks, when = marks[caught], when[caught]
    when = np.round((when - when[:1]) / typist.rounded_s) * typist.rounded_s
    rising = np.concatenate([[True], np.diff(np.maximum.accumulate(when)) > 0.0])[: when.size]
    marks, when = marks[rising], when[rising]
    if marks.size < 2:
        return []
    digits = 1 if typist.rounded_s < 1.0 else 0
    way = "out" if leg.inputs.direction > 0 else "back"
    if typist.table:
        took = np.diff(when)
        cells = [f"{a:g};{b:g};{s:.{digits}f}" for a, b, s in zip(marks, marks[1:], took, strict=False)]
        return [
            f"{cell};" if way == "out" else ";".join([*cell.split(";")[:2], "", cell.split(";")[2]]) for cell in cells
        ]
    return [f"{m:g};{s:.{digits}f};{way}" for m, s in zip(marks, when, strict=True)]


def _sheet(lines: list[str], typist: Typist, told: float) -> bytes:
    head = [f"speedometer_gain;{told:.4f}", "speedometer_rel_u;0.01"] if typist.told else []
    if typist.told and typist.offset_kmh > 0.0:
        head += [f"speedometer_offset_kmh;{typist.offset_kmh:.1f}"]
    columns = "speed_from_kmh;speed_to_kmh;seconds_out;seconds_back" if typist.table else "speed_kmh;seconds;direction"
    return "\n".join([*head, columns, *lines, ""]).encode()


def _read(day: Day, run: Run, sheet: bytes) -> Run:
    bare = replace(run, logs=(LogFile(f"logs/times{run.number:02d}.csv"),), recordings=(), direction=None)
    return join_run(bare, lambda file, **_: read_typed_times(sheet, name=file), day.car, {})
