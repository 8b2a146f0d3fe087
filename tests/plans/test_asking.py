"""What is typed of a planned day: read, refused with its place, kept and read back."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.errors import StillairError
from server.plans.asking import FIELDS, MOST_CHANGES, Asked, asked_of, request_as_json, request_from_json

FIELDS_TYPED = {"name": "Flap day", "baseline": "A", "start": "08:45", "like": "", "lift_kmh": "108", "gust_mps": "0,5"}


def asked(**other: str) -> Asked:
    return asked_of(FIELDS_TYPED | other, ["B", ""], ["0,05", ""], ["rear flap up", ""])


def test_numbers_are_read_with_comma_and_point_and_empty_ones_take_what_stands_there() -> None:
    found = asked()
    assert found.request.high_mps == pytest.approx(30.0)
    assert found.request.low_mps == pytest.approx(30.0 / 3.6)
    assert found.request.gust_sd_mps == 0.5
    assert found.request.start_clock_s == 8.75 * 3600
    assert found.request.wanted[0].u95_m2 == 0.05
    assert found.turned == ("rear flap up",)
    assert asked(gust_mps="").request.gust_sd_mps is None
    assert (found.request.along_mps, found.request.cross_mps) == (None, None)
    assert asked(along_mps="3,5", cross_mps="2").request.along_mps == 3.5


def test_what_was_asked_is_kept_and_read_back() -> None:
    for one in (asked(), asked(like="3", gust_mps=""), asked(along_mps="3", cross_mps="1.5")):
        assert request_from_json(json.loads(json.dumps(request_as_json(one)))) == one


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ({"lift_kmh": "fast"}, "Lift at must be a number, not “fast”"),
        ({"lift_kmh": "900"}, "Lift at must lie between 20 and 300 km/h, not 900"),
        ({"brake_kmh": "108"}, "must lie below lifting at 108"),
        ({"start": "25:00"}, "must be a time such as 09:00"),
        ({"baseline": " "}, "The baseline has no name"),
        ({"baseline": "x" * 41}, "at most 40 signs"),
        ({"like": "../1"}, "chosen from the list"),
    ],
)
def test_a_refusal_names_the_place(other: dict[str, str], words: str) -> None:
    with pytest.raises(StillairError, match=words):
        asked(**other)


def test_rows_of_changes_are_refused_by_their_number() -> None:
    with pytest.raises(StillairError, match="interval of change 1 is missing"):
        asked_of(FIELDS_TYPED, ["B"], [""], [""])
    with pytest.raises(StillairError, match="setup of change 1 has no name"):
        asked_of(FIELDS_TYPED, [""], ["0.05"], [""])
    with pytest.raises(StillairError, match=r"between 0\.001 and 2"):
        asked_of(FIELDS_TYPED, ["B"], ["5"], [""])
    many = [f"S{n}" for n in range(MOST_CHANGES + 1)]
    with pytest.raises(StillairError, match="at most 6 changes"):
        asked_of(FIELDS_TYPED, many, ["0.05"] * len(many), [""] * len(many))


@given(st.dictionaries(st.sampled_from([f.name for f in FIELDS] + list(FIELDS_TYPED)), st.text(max_size=12)))
def test_whatever_is_typed_is_read_or_refused_in_a_sentence(typed: dict[str, str]) -> None:
    sentence = "."
    try:
        asked_of(FIELDS_TYPED | typed, ["B"], ["0.05"], [""])
    except StillairError as refusal:
        sentence = str(refusal)
    assert sentence.endswith(".")
