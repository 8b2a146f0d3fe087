"""What is said of downforce, balance and ride heights, and when nothing is said."""

from __future__ import annotations

import dataclasses
import math

import pytest

from server.analysis.result import DayResult, Estimate, SetupResult
from server.results.load_sentences import bend_sentence, check_words, load_changes, weight_sentence, zero_text
from server.results.sentences import comparison_sentences, setup_sentences
from tests.results.made_loads import estimate, loaded_day
from tests.web.made_up import made_up_day_result


def changed(result: DayResult, **estimates: Estimate) -> DayResult:
    """The day with estimates of its first setup replaced."""
    first = dataclasses.replace(result.setups[0], estimates={**result.setups[0].estimates, **estimates})
    return dataclasses.replace(result, setups=(first, *result.setups[1:]))


def without(result: DayResult, *names: str) -> DayResult:
    kept = {name: one for name, one in result.setups[0].estimates.items() if name not in names}
    return dataclasses.replace(result, setups=(dataclasses.replace(result.setups[0], estimates=kept),))


def test_the_first_sentence_says_what_the_car_makes_at_which_heights() -> None:
    (sentence,) = setup_sentences(loaded_day("A"), 0.05)
    assert sentence.text == (
        "Setup A: SCx 1.520 ± 0.041 m², SCz 3.550 ± 0.078 m², 45.63 ± 0.78 % front, L/D 2.336 ± 0.069 "
        "at 22 m/s (79 km/h), riding at 26.8 ± 1.0 mm front, 30.1 ± 1.1 mm rear, "
        "from 8 coast-downs and 2 constant-speed passes; that is within the wanted ± 0.05 m²."
    )


def test_without_static_heights_no_height_is_said() -> None:
    (sentence,) = setup_sentences(loaded_day("A", heights=False))
    assert "riding" not in sentence.text
    assert "at 22 m/s" in sentence.text


def test_one_axle_alone_is_said_as_one_axle() -> None:
    (sentence,) = setup_sentences(without(loaded_day("A"), "SCz", "SCz_rear", "balance_front", "LD"))
    assert "SCx 1.520 ± 0.041 m², SCz front 1.620 ± 0.041 m² at 22 m/s" in sentence.text


@pytest.mark.parametrize("source", ["predicted", "typed", "default"])
def test_what_was_not_measured_is_not_said(source: str) -> None:
    names = ("SCz", "SCz_front", "SCz_rear", "balance_front", "LD")
    given = {name: estimate(1.6, 0.1, "m²", source) for name in names}  # type: ignore[arg-type]
    (sentence, _) = setup_sentences(changed(loaded_day("AB"), **given))
    assert "SCz" not in sentence.text
    assert "riding" not in sentence.text
    assert not any("SCz" in one for one in comparison_sentences(changed(loaded_day("AB"), **given)))


def test_changes_say_downforce_and_balance_with_direction() -> None:
    day = loaded_day("AB")
    assert load_changes(day, day.comparisons[0]) == (
        "B against A: SCz −0.020 ± 0.039 m² (p = 0.320), no change that this day could tell, "
        "it would have seen 0.056 m²; balance −3.71 ± 0.59 points (p < 0.001), further back."
    )
    assert comparison_sentences(day)[0].startswith("B against A: SCx")
    bare = made_up_day_result("AB")
    assert load_changes(bare, bare.comparisons[0]) == ""


def test_a_change_without_a_p_is_not_called_one() -> None:
    day = loaded_day("AB")
    delta = dataclasses.replace(day.comparisons[0].deltas["SCz"], p=math.nan)
    said = load_changes(day, dataclasses.replace(day.comparisons[0], deltas={"SCz": delta}))
    assert "(no p can be had), no change that this day could tell" in said


def test_a_bend_is_said_per_millimetre() -> None:
    """25 ± 15.7 per metre is 2.5 ± 1.6 % per mm."""
    straight, bent = (bend_sentence(s.name, s.bend) for s in loaded_day("AB").setups if s.bend)
    assert straight == (
        "Setup A: no bend of SCz over the ride heights visited can be told "
        "(p = 0.370, 199 simulated days without a bend)."
    )
    assert "front +2.5 ± 1.6 %, rear +2.0 ± 1.4 % for each mm that the axle sinks" in bent
    assert bent.endswith("The areas are those of the curve at the reference condition.")


def test_weight_speed_says_when_nobody_was_there() -> None:
    setup: SetupResult = loaded_day("A").setups[0]
    assert weight_sentence(setup).endswith("135.8 ± 1.8 km/h; that is beyond the 97 km/h that was driven.")
    fast = tuple(dataclasses.replace(one, high_mps=45.0) for one in setup.passes)
    assert weight_sentence(dataclasses.replace(setup, passes=fast)).endswith("135.8 ± 1.8 km/h.")
    assert weight_sentence(dataclasses.replace(setup, estimates={})) == ""


def test_sources_agree_or_lie_apart() -> None:
    agreeing, apart = loaded_day("A").source_checks
    assert check_words(agreeing) == "agree within what is known of both"
    assert check_words(apart).startswith("apart by 4.6 u: look for a slipped sensor")


def test_zeros_are_a_range_with_the_u_of_one() -> None:
    assert zero_text([(-12.3, 8.8), (9.4, 9.1), (1.0, 9.0)]) == "−12 to 9 N, u 9.0 N each"
    assert zero_text([(3.0, 0.0)]) == "3 to 3 N"
