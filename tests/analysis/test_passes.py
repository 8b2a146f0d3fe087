"""Passes of single made-up runs: what is found, what is turned down and in which words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from server.analysis.pass_options import PassOptions
from server.analysis.passes import find_passes
from server.analysis.result import Pass
from server.testday.findings import CODES
from server.testday.values import Finding, PassEdit, Run, Signal
from tests.analysis.driven_runs import (
    Body,
    Driven,
    Phase,
    drive,
    fine,
    made_car,
    made_run,
    wheel_speed,
    with_dropouts,
)

CAR = made_car()
BRAKE: Phase = ("brake", {"a": 4.0, "to": 3.0})
TURN: Phase = ("turn", {"s": 8.0, "v": 3.5})
STAND: Phase = ("stand", {"s": 6.0})


def script(*phases: Phase) -> Driven:
    return drive([STAND, *phases, STAND], Body(engine_brake_n=500.0), np.random.default_rng(8))


def gas(top: float = 22.0) -> Phase:
    return ("drive", {"a": 3.0, "to": top})


def glide(low: float = 9.0) -> Phase:
    return ("coast", {"to": low})


ONE = script(gas(), glide(), BRAKE)
IN_GEAR = script(gas(24.0), ("lift_in_gear", {"to": 4.5}), BRAKE, gas(), glide(), BRAKE)


def speed_of(truth: Driven, rate: float = 50.0) -> dict[str, Signal]:
    return {"wheel_speed_fl": wheel_speed(truth, np.random.default_rng(1), rate, 0.05)}


def controls(truth: Driven, rate: float = 50.0) -> dict[str, Signal]:
    return {
        "throttle": fine(truth, truth.throttle, rate, "throttle"),
        "brake_pressure": fine(truth, 1e3 * truth.brake, rate, "brake"),
    }


def gear(truth: Driven, coasting: float = 0.0, driven: float = 3.0) -> dict[str, Signal]:
    return {"gear": fine(truth, np.where(truth.engaged > 0.5, driven, coasting), 50.0, "gear")}


def found(run: Run, options: PassOptions | None = None) -> tuple[list[Pass], list[Pass], tuple[Finding, ...]]:
    """Used and turned-down coast-downs, and the findings."""
    passes, findings = find_passes(run, CAR, options=options)
    coasts = [p for p in passes if p.kind == "coast-down"]
    assert {f.code for f in findings} <= CODES.keys()
    assert all(bool(p.reason) or p.used for p in passes)
    return [p for p in coasts if p.used], [p for p in coasts if not p.used], findings


def codes(findings: tuple[Finding, ...]) -> set[str]:
    return {f.code for f in findings}


def test_a_coast_down_with_channels_is_trimmed_after_lift_and_before_brake() -> None:
    used, _, findings = found(made_run(speed_of(ONE) | controls(ONE), coasting="clutch", direction="out"))
    (only,), (true,) = used, ONE.coasts()
    assert only.start_s == pytest.approx(true.start_s + 1.0, abs=0.08)
    assert only.end_s == pytest.approx(true.end_s - 0.2, abs=0.08)
    assert (only.run, only.setup, only.direction, only.reason) == (1, "A", 1, "")
    assert not only.coasting_inferred
    assert only.high_mps == pytest.approx(np.interp(only.start_s, ONE.time_s, ONE.speed), abs=0.15)
    assert only.low_mps == pytest.approx(np.interp(only.end_s, ONE.time_s, ONE.speed), abs=0.15)
    assert findings == ()


def test_the_same_without_channels_is_inferred_and_said_so() -> None:
    used, _, findings = found(made_run(speed_of(ONE), coasting="clutch", direction="out"))
    (only,), (true,) = used, ONE.coasts()
    assert only.start_s == pytest.approx(true.start_s + 1.0, abs=0.5)
    assert only.end_s == pytest.approx(true.end_s - 0.5, abs=0.5)
    assert only.coasting_inferred
    assert codes(findings) == {"coasting-inferred"}
    assert "no throttle or brake channel" in findings[0].text


@pytest.mark.parametrize("known", ["throttle", "brake_pressure"])
def test_one_channel_places_its_end_and_the_speed_the_other(known: str) -> None:
    signals = speed_of(ONE) | {known: controls(ONE)[known]}
    used, _, findings = found(made_run(signals, coasting="clutch", direction="out"))
    (only,), (true,) = used, ONE.coasts()
    assert only.coasting_inferred
    assert codes(findings) == {"coasting-inferred"}
    if known == "throttle":
        assert only.start_s == pytest.approx(true.start_s + 1.0, abs=0.15)
    else:
        assert only.end_s == pytest.approx(true.end_s - 0.2, abs=0.15)
    assert only.end_s < true.end_s
    assert only.start_s > true.start_s + 0.4


def test_lifting_in_gear_is_told_by_gear_torque_word_or_resistance() -> None:
    base = speed_of(IN_GEAR) | controls(IN_GEAR)
    braked, coasted = (next(s for s in IN_GEAR.stretches if s.kind == kind) for kind in ("lift_in_gear", "coast"))
    torque = {"motor_torque": fine(IN_GEAR, 0.05 * IN_GEAR.torque, 50.0, "torque")}
    cases = [
        (base | gear(IN_GEAR), "in gear: engine braking"),
        (base | torque, "the motor brakes: regeneration"),
        (base, "even without air"),
        (speed_of(IN_GEAR), "even without air"),
    ]
    for signals, words in cases:
        used, refused, findings = found(made_run(signals, direction="out"))
        (only,) = used
        assert coasted.start_s < only.start_s < only.end_s < coasted.end_s + 0.01
        (why,) = [p.reason for p in refused if p.start_s < braked.end_s and p.end_s > braked.start_s]
        assert words in why
        assert "engine-braking" in codes(findings)


def test_the_word_in_gear_turns_every_coast_down_down() -> None:
    used, refused, findings = found(made_run(speed_of(ONE) | controls(ONE), coasting="in-gear"))
    assert used == []
    assert [p.reason for p in refused] == ["in gear: engine braking (run sheet)"]
    assert {"engine-braking", "no-pass"} <= codes(findings)


def test_a_gear_channel_outweighs_the_word_neutral() -> None:
    signals = speed_of(IN_GEAR) | controls(IN_GEAR) | gear(IN_GEAR)
    _, refused, _ = found(made_run(signals, coasting="neutral", direction="out"))
    assert any(p.reason == "in gear: engine braking, though the run sheet says neutral" for p in refused)


def test_clutch_by_word_frees_a_car_whose_gear_stays_in() -> None:
    truth = script(gas(), glide(), BRAKE, TURN)
    in_third = {"gear": fine(truth, np.where(truth.speed > 1.0, 3.0, 0.0), 50.0, "gear")}
    signals = speed_of(truth) | controls(truth) | in_third
    assert len(found(made_run(signals, coasting="clutch", direction="out"))[0]) == 1
    assert found(made_run(signals, coasting="unknown", direction="out"))[0] == []


def test_nothing_that_tells_of_the_driveline_is_said() -> None:
    used, _, findings = found(made_run(speed_of(ONE) | controls(ONE), direction="out"))
    assert len(used) == 1
    assert codes(findings) == {"coasting-unconfirmed"}


def test_a_turn_ends_the_pass() -> None:
    truth = script(gas(), glide(8.0), BRAKE)
    true = truth.coasts()[0]
    turn_at = true.start_s + 7.0
    yaw = np.where((truth.time_s > turn_at) & (truth.time_s < turn_at + 3.0), 0.25, 0.0)
    signals = speed_of(truth) | controls(truth) | {"yaw_rate": fine(truth, yaw, 50.0, "yaw")}
    used, refused, _ = found(made_run(signals, coasting="clutch", direction="out"))
    assert used[0].end_s == pytest.approx(turn_at - 0.2, abs=0.5)
    assert any(p.reason == "a turn" and p.start_s < turn_at + 1.5 < p.end_s for p in refused)
    assert all(p.end_s < turn_at or p.start_s > turn_at + 2.9 for p in used)


def test_a_short_straight_gives_partial_passes_at_high_and_low_speed() -> None:
    parts = script(gas(25.0), glide(17.0), BRAKE, TURN, gas(13.0), glide(6.0), BRAKE)
    for signals in (speed_of(parts) | controls(parts), speed_of(parts)):
        used, _, _ = found(made_run(signals, coasting="clutch", direction="out"))
        assert len(used) == 2
        assert used[0].low_mps > 16.0
        assert used[1].high_mps < 14.0


def test_too_short_and_too_slow_say_so_with_the_time_of_the_brake() -> None:
    truth = script(gas(20.0), ("coast", {"to": 0.0, "s": 3.4}), BRAKE, TURN)
    _, (refused,), _ = found(made_run(speed_of(truth) | controls(truth), coasting="clutch"))
    assert refused.reason.startswith("only 2.")
    assert f"brake pressed at {truth.coasts()[0].end_s:.0f}." in refused.reason or (
        f"brake pressed at {truth.coasts()[0].end_s - 0.5:.0f}." in refused.reason
    )
    slow = script(gas(4.0), ("coast", {"to": 0.5, "s": 20.0}), BRAKE)
    _, (refused,), findings = found(made_run(speed_of(slow) | controls(slow), coasting="clutch"))
    assert refused.reason == "speed below 4.2 m/s"
    assert "no-pass" in codes(findings)


def test_a_pass_ends_at_the_least_speed_of_the_options() -> None:
    truth = script(gas(), ("coast", {"to": 0.0}))
    for least in (15.0 / 3.6, 8.0):
        options = PassOptions(min_speed_mps=least)
        (only,), _, _ = found(made_run(speed_of(truth) | controls(truth), coasting="clutch"), options)
        assert only.low_mps == pytest.approx(least, abs=0.15)


def test_a_hole_splits_a_pass_only_when_it_is_long() -> None:
    true = ONE.coasts()[0]
    middle = 0.5 * (true.start_s + true.end_s)
    for hole, parts in ((1.5, 1), (2.8, 2)):
        whole = speed_of(ONE)["wheel_speed_fl"]
        keep = (whole.time_s < middle) | (whole.time_s > middle + hole)
        holed = {"wheel_speed_fl": Signal(whole.time_s[keep], whole.values[keep], "v")}
        for signals in (holed, holed | controls(ONE)):
            used, _, _ = found(made_run(signals, coasting="clutch", direction="out"))
            assert len(used) == parts
            assert all(p.end_s <= middle + 0.01 or p.start_s >= middle + hole - 0.03 for p in used[: parts - 1])


def test_zeros_and_constant_speed_passes() -> None:
    hold: Phase = ("hold", {"s": 12.0})
    truth = script(gas(18.0), hold, glide(), BRAKE)
    run = made_run(speed_of(truth) | controls(truth), coasting="clutch", direction="out")
    passes, _ = find_passes(run, CAR)
    zeros = [p for p in passes if p.kind == "zero"]
    assert len(zeros) == 2
    assert zeros[0].start_s == pytest.approx(0.5, abs=0.1)
    assert zeros[0].end_s == pytest.approx(5.5, abs=0.5)
    assert zeros[0].direction == 0
    steady = [p for p in passes if p.kind == "constant-speed"]
    held = next(s for s in truth.stretches if s.kind == "hold")
    longest = max(steady, key=lambda p: p.end_s - p.start_s)
    assert held.start_s - 1.0 < longest.start_s < longest.end_s < held.end_s + 1.0
    assert longest.high_mps - longest.low_mps < 0.6
    assert all(p.end_s - p.start_s >= 2.0 for p in steady)
    coasts = [p for p in passes if p.kind == "coast-down" and p.used]
    assert all(p.end_s <= c.start_s or p.start_s >= c.end_s for p in steady for c in coasts)


def test_passes_come_in_order_of_time() -> None:
    passes, _ = find_passes(made_run(speed_of(IN_GEAR) | controls(IN_GEAR)), CAR)
    starts = [p.start_s for p in passes]
    assert starts == sorted(starts)


def test_several_recordings_with_their_own_rates() -> None:
    run = made_run(speed_of(ONE, 20.0), coasting="clutch", direction="out")
    second = made_run(controls(ONE, 10.0)).recordings
    used, _, _ = found(replace(run, recordings=(*run.recordings, *second)))
    (only,), (true,) = used, ONE.coasts()
    assert true.start_s + 0.99 < only.start_s < true.start_s + 1.25
    assert true.end_s - 0.45 < only.end_s < true.end_s - 0.19


def test_no_speed_is_a_finding_that_stops() -> None:
    passes, findings = find_passes(made_run(controls(ONE)), CAR)
    assert passes == ()
    assert [(f.code, f.grade) for f in findings] == [("no-speed", "stop")]


def test_a_run_that_never_coasts_says_what_it_held() -> None:
    truth = script(gas(18.0), ("hold", {"s": 10.0}), BRAKE, TURN)
    used, _, findings = found(made_run(speed_of(truth), direction="out"))
    assert used == []
    assert "no-pass" in codes(findings)


def test_dropouts_and_a_tired_brake_sensor_are_carried() -> None:
    dropping = with_dropouts(speed_of(ONE)["wheel_speed_fl"], np.random.default_rng(2), 6, 1.0)
    dead = {"brake_pressure": fine(ONE, np.zeros(len(ONE.time_s)), 50.0, "brake")}
    signals = {"wheel_speed_fl": dropping, "throttle": controls(ONE)["throttle"]} | dead
    used, _, findings = found(made_run(signals, coasting="clutch", direction="out"))
    assert len(used) == 1
    assert used[0].end_s < ONE.coasts()[0].end_s
    assert {"channel-silent", "coasting-inferred"} <= codes(findings)


def edited_run(*edits: PassEdit) -> Run:
    return made_run(speed_of(ONE) | controls(ONE), coasting="clutch", direction="back", passes=edits)


def test_a_persons_edges_are_taken_exactly() -> None:
    true = ONE.coasts()[0]
    start, end = round(true.start_s + 2.345, 3), round(true.end_s - 1.5, 3)
    used, _, _ = found(edited_run(PassEdit(start, end, True, "dry part")))
    (only,) = used
    assert (only.start_s, only.end_s) == (start, end)
    assert only.reason == "edges set by hand: dry part"
    assert only.direction == -1


def test_a_person_drops_a_pass_with_a_reason_and_restores_it() -> None:
    true = ONE.coasts()[0]
    drop = PassEdit(true.start_s + 3.0, true.end_s - 3.0, False, "traffic")
    used, refused, findings = found(edited_run(drop))
    assert used == []
    assert [p.reason for p in refused] == ["traffic"]
    restore = PassEdit(true.start_s + 1.0, true.end_s - 0.2, True)
    assert len(found(edited_run(drop, restore))[0]) == 1
    assert "no-pass" in codes(findings)


def test_a_person_may_use_what_the_finder_would_not() -> None:
    true = ONE.coasts()[0]
    edit = PassEdit(true.start_s + 1.0, true.end_s - 0.2, True, "clutch was open")
    run = replace(edited_run(edit), coasting="in-gear")
    used, refused, _ = found(run)
    assert [p.reason for p in used] == ["edges set by hand: clutch was open"]
    assert refused == []


@pytest.mark.parametrize("early_s", [1.5, 4.0, 8.0])
def test_an_edge_where_the_car_still_speeds_up_is_no_coast_down(early_s: float) -> None:
    true = ONE.coasts()[0]
    used, refused, findings = found(edited_run(PassEdit(true.start_s - early_s, true.end_s - 0.2, True, "more")))
    assert used == []
    (only,) = refused
    until = float(only.reason.rsplit(" ", 2)[1])
    assert until == pytest.approx(true.start_s, abs=0.5)
    (said,) = [one for one in findings if one.code == "edit-not-coasting"]
    assert "Move its start behind that." in said.text


def test_an_edit_that_meets_nothing_is_said() -> None:
    _, _, findings = found(edited_run(PassEdit(0.0, 0.2, False, "?")))
    assert "edit-idle" in codes(findings)


def test_an_edit_where_nothing_was_found_becomes_what_the_speed_shows() -> None:
    hold: Phase = ("hold", {"s": 3.0, "v": 15.0})
    truth = script(gas(15.0), hold, gas(20.0), BRAKE)
    held = next(s for s in truth.stretches if s.kind == "hold")
    edits = (PassEdit(1.0, 3.0), PassEdit(held.start_s + 0.2, held.start_s + 1.7))
    passes, _ = find_passes(made_run(speed_of(truth), passes=edits), CAR)
    by_hand = {p.start_s: p.kind for p in passes if p.reason.startswith("edges set by hand")}
    assert by_hand == {1.0: "zero", held.start_s + 0.2: "constant-speed"}
