"""Which way a pass went, by whatever the log holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.direction import straight_heading
from server.analysis.passes import find_passes
from server.testday.values import Run, Signal
from tests.analysis.driven_runs import (
    Body,
    Driven,
    drive,
    fine,
    made_car,
    made_run,
    wheel_speed,
)

HEADING = np.radians(250.0)
CAR = made_car()
SCRIPT = [("stand", {"s": 5.0})]
for _ in range(3):
    SCRIPT += [("drive", {"a": 3.0, "to": 22.0}), ("coast", {"to": 9.0}), ("brake", {"a": 4.0, "to": 3.0})]
    SCRIPT += [("turn", {"s": 8.0, "v": 3.5})]
TRUTH = drive(SCRIPT, Body(), np.random.default_rng(3), HEADING)
SPEED = wheel_speed(TRUTH, np.random.default_rng(3), 50.0, 0.05)


def yaw(truth: Driven, bias: float = 0.01) -> Signal:
    rate = fine(truth, np.gradient(truth.heading, truth.time_s), 50.0, "yaw")
    return Signal(rate.time_s, rate.values + bias, "yaw")


def place(truth: Driven) -> dict[str, Signal]:
    radius = 6_371_008.8
    noise = np.random.default_rng(4).normal(0.0, 0.3, (2, len(truth.time_s)))
    latitude = fine(truth, -0.6 + (truth.y + noise[0]) / radius, 5.0, "lat")
    longitude = fine(truth, 2.5 + (truth.x + noise[1]) / radius / np.cos(0.6), 5.0, "lon")
    return {"latitude": latitude, "longitude": longitude}


def ways(run: Run, heading: float | None = None) -> tuple[list[int], set[str]]:
    passes, findings = find_passes(run, CAR, heading)
    used = [p.direction for p in passes if p.used and p.kind == "coast-down"]
    return used, {f.code for f in findings if f.code.startswith(("direction", "off"))}


def run_with(signals: dict[str, Signal], **more: object) -> Run:
    return made_run({"wheel_speed_fl": SPEED} | signals, coasting="neutral", **more)


def compass() -> dict[str, Signal]:
    wrapped = fine(TRUTH, TRUTH.heading % (2 * np.pi), 10.0, "heading")
    return {"heading": wrapped}


@pytest.mark.parametrize("out", [0.0, 180.0])
def test_heading_and_place_against_the_venue(out: float) -> None:
    expected = [1, -1, 1] if out == 0.0 else [-1, 1, -1]
    venue = HEADING + np.radians(out)
    assert ways(run_with(compass()), venue) == (expected, set())
    assert ways(run_with(place(TRUTH)), venue) == (expected, set())


def test_without_a_venue_heading_the_first_pass_is_out() -> None:
    assert ways(run_with(place(TRUTH))) == ([1, -1, 1], {"direction-assumed"})


def test_turns_are_counted_by_yaw_rate() -> None:
    assert ways(run_with({"yaw_rate": yaw(TRUTH)}), HEADING) == ([1, -1, 1], {"direction-assumed"})
    told = run_with({"yaw_rate": yaw(TRUTH)}, direction="back")
    assert ways(told, HEADING) == ([-1, 1, -1], set())


def test_the_run_sheet_comes_last() -> None:
    assert ways(run_with({}, direction="back"), HEADING) == ([-1, -1, -1], {"direction-by-word"})
    assert ways(run_with({}), HEADING) == ([0, 0, 0], {"direction-unknown"})


def test_one_pass_with_the_run_sheets_word_needs_no_finding() -> None:
    until = TRUTH.coasts()[0].end_s + 2.0
    short = Signal(SPEED.time_s[SPEED.time_s < until], SPEED.values[SPEED.time_s < until], "v")
    run = made_run({"wheel_speed_fl": short}, coasting="neutral", direction="back")
    assert ways(run) == ([-1], set())


def test_a_pass_across_the_straight_has_no_direction() -> None:
    signs, codes = ways(run_with(compass()), HEADING + np.radians(90.0))
    assert signs == [0, 0, 0]
    assert codes == {"off-straight"}


def test_a_day_without_heading_gets_one_from_its_tracks() -> None:
    first = run_with(place(TRUTH))
    turned = replace(TRUTH, heading=TRUTH.heading + np.pi, x=-TRUTH.x, y=-TRUTH.y)
    second = run_with(place(turned), number=2)
    heading = straight_heading([first, second], CAR)
    assert heading is not None
    assert np.degrees(heading) == pytest.approx(250.0, abs=1.0)
    assert ways(first, heading) == ([1, -1, 1], set())
    assert ways(second, heading) == ([-1, 1, -1], set())
    assert straight_heading([run_with({})], CAR) is None
