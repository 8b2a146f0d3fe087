"""What stands over days: who is combined with whom, with what interval, and what the page says of it."""

from __future__ import annotations

import datetime as dt

import pytest

from server.days.season import NoResult, season_years, variants
from server.days.season_choice import choose
from server.days.season_standing import standings
from server.days.season_view import advice, car_stands, letters_of, measured_quantities, stand_text, timeline_points
from server.days.season_words import next_action, season_sentence
from server.errors import NotFoundError
from server.inference.between_days import over_days
from tests.days.made_season import made_day, of_setup, value

MAY = [dt.date(2026, 5, day) for day in (2, 9, 16, 23)]
QUANTITIES = ("SCx", "SCz", "balance_front")


def test_days_recorded_alike_are_combined_with_what_they_share_kept_apart() -> None:
    days = [made_day(n, MAY[n], [of_setup("A", scx)]) for n, scx in enumerate((1.40, 1.43, 1.41))]
    (one,) = standings(days, QUANTITIES)
    own = (0.02**2 - 0.01**2) ** 0.5
    told = over_days([1.41, 1.43, 1.40], [own] * 3, [0.01] * 3)
    assert (one.stands["SCx"].value, one.stands["SCx"].u95) == pytest.approx((told.value, told.u95))
    assert one.stands["SCx"].u > one.stands["SCx"].over.shared_u == pytest.approx(0.01)  # type: ignore[union-attr]


def test_a_summary_that_does_not_split_its_u_lets_nothing_average_out() -> None:
    setups = [of_setup("A", 1.4), of_setup("A", 1.4)]
    for one in setups:
        one["shared_u"] = {}
    (found,) = standings([made_day(n, MAY[n], [one]) for n, one in enumerate(setups)], QUANTITIES)
    assert found.stands["SCx"].u >= 0.02


@pytest.mark.parametrize("other", [{"flap": 34.0}, {"heights": (30.0, 38.0)}, {"car": "Wisp 6"}, {"flap": "none"}])
def test_days_recorded_otherwise_are_not_combined(other: dict[str, object]) -> None:
    days = [made_day(1, MAY[0], [of_setup("A", 1.4)]), made_day(2, MAY[1], [of_setup("A", 1.4)], **other)]  # type: ignore[arg-type]
    assert [one.stands["SCx"].days for one in standings(days, QUANTITIES)] == [1, 1]


def test_thirty_and_thirty_point_nought_are_one_angle() -> None:
    days = [made_day(1, MAY[0], [of_setup("A", 1.4)], flap=30), made_day(2, MAY[1], [of_setup("A", 1.4)], flap=30.0)]
    assert [one.stands["SCx"].days for one in standings(days, QUANTITIES)] == [2]


def test_one_name_keeps_its_letter_and_a_second_form_of_it_is_numbered_and_said() -> None:
    days = [
        made_day(1, MAY[0], [of_setup("A", 1.4), of_setup("B", 1.3)]),
        made_day(2, MAY[1], [of_setup("B", 1.31)]),
        made_day(3, MAY[2], [of_setup("B", 1.2)], flap=34.0),
    ]
    letters = letters_of(days)
    assert [point.label for point in timeline_points(days, "SCx", letters)] == ["A", "B", "B", "B·2"]
    assert len({point.mark.hue for point in timeline_points(days, "SCx", letters) if point.setup == "B"}) == 1
    assert sorted(variants(days).values()) == [1, 1, 2]
    (car,) = car_stands(days, letters)
    assert car.differing == ("B",)
    # A filter takes no letter away: B alone is B still.
    assert [point.label for point in timeline_points(days[1:2], "SCx", letters)] == ["B"]


def test_what_was_assumed_is_no_measurement() -> None:
    days = [made_day(n, MAY[n], [of_setup("A", 1.4, SCz=value(3.4, 0.7, "default"))]) for n in range(2)]
    assert measured_quantities(days) == ("SCx",)
    assert list(standings(days, QUANTITIES)[0].stands) == ["SCx"]


def test_a_value_of_one_day_says_that_days_are_not_in_it() -> None:
    (one,) = standings([made_day(1, MAY[0], [of_setup("A", 1.4)])], QUANTITIES)
    text = stand_text(one.stands["SCx"], "SCx")
    assert text.text == "1.400 ± 0.039 m²"
    assert "how far days differ is not in it" in text.detail
    assert advice(one).startswith("one day")


def test_balance_is_told_in_per_cent() -> None:
    share = value(0.47, 0.01, unit="–")
    (one,) = standings([made_day(1, MAY[0], [of_setup("A", 1.4, balance_front=share)])], QUANTITIES)
    assert stand_text(one.stands["balance_front"], "balance_front").text == "47.0 ± 2.0 %"


def test_days_that_lie_apart_are_named() -> None:
    days = [made_day(n, MAY[n], [of_setup("A", scx)]) for n, scx in enumerate((1.2, 1.4, 1.6))]
    (one,) = standings(days, QUANTITIES)
    assert one.stands["SCx"].apart
    assert "further apart" in advice(one)


def test_two_days_are_told_that_a_third_is_worth_it() -> None:
    (one,) = standings([made_day(n, MAY[n], [of_setup("A", 1.4)]) for n in range(2)], QUANTITIES)
    assert one.stands["SCx"].with_another < 0.5 * one.stands["SCx"].u95  # type: ignore[operator]
    assert advice(one).startswith("two days hardly tell")


def test_the_sentence_counts_and_names_the_newest_day_that_was_fitted() -> None:
    days = [made_day(1, MAY[0], [of_setup("A", 1.4), of_setup("B", 1.3)]), made_day(2, MAY[1], [of_setup("B", 1.3)])]
    text = season_sentence(days, car_stands(days, letters_of(days)), " in 2026").replace("\N{NO-BREAK SPACE}", " ")
    assert text.startswith("2 test days, 12 runs, 2 setups in 2026. Of the newest day that was fitted, Day 2 (2026")
    assert "B at 1.30 ± 0.16 m²" in text
    assert "from 2 days" in text
    assert "A at" not in text


def test_a_stop_comes_before_a_day_without_a_result_before_a_check() -> None:
    stop = [{"grade": "stop", "code": "x", "run": 1, "text": "."}]
    check = [{"grade": "check", "code": "x", "run": None, "text": "."}]
    failed = NoResult("failed", "why", "do", older=False)
    days = [
        made_day(1, MAY[0], [of_setup("A", 1.4)], asking=[*check, *stop]),
        made_day(2, MAY[1], [of_setup("A", 1.4)], missing=failed),
        made_day(3, MAY[2], [of_setup("A", 1.4)], asking=check),
        made_day(4, MAY[3], [of_setup("A", 1.4)], missing=NoResult("waits", "", "", older=True)),
    ]
    assert [next_action(days[n:]).day_id for n in range(4)] == [1, 2, 3, 4]  # type: ignore[union-attr]
    assert "1 finding says stop" in next_action(days).words  # type: ignore[union-attr]
    assert next_action([]) is None


def test_seasons_are_calendar_years_and_a_day_without_a_date_stands_where_it_was_added() -> None:
    spring, autumn = dt.date(2025, 5, 3), dt.date(2025, 9, 1)
    days = [made_day(1, spring, []), made_day(2, None, []), made_day(3, autumn, [], car="Wisp 6")]
    assert season_years(days) == [2026, 2025]
    assert [one.id for one in choose(days, "", None).days] == [2]
    assert [one.id for one in choose(days, "2025", None).days] == [1, 3]
    assert [one.id for one in choose(days, "all", "Wisp 6").days] == [3]
    assert choose(days, "2025", "").days == []
    with pytest.raises(NotFoundError, match="four digits"):
        choose(days, "20255", None)


def test_a_setup_of_two_days_takes_how_days_differ_from_the_cars_other_setups() -> None:
    second = of_setup("B", 1.3)
    many = [made_day(n, MAY[n], [of_setup("A", 1.4 + 0.01 * n), *([second] if n < 2 else [])]) for n in range(4)]
    alone = standings([made_day(n, MAY[n], [second]) for n in range(2)], QUANTITIES)[0].stands["SCx"]
    beside = next(one for one in standings(many, QUANTITIES) if one.key.name == "B").stands["SCx"]
    other_car = [made_day(n, MAY[n], [second], car="Wisp 6") for n in (2, 3)]
    apart = next(one for one in standings([*many, *other_car], QUANTITIES) if one.key.car == "Wisp 6").stands["SCx"]
    assert beside.over is not None
    assert beside.over.borrowed
    assert beside.u95 < 0.5 * alone.u95 == pytest.approx(0.5 * apart.u95)
    assert "as all setups of the car together say" in stand_text(beside, "SCx").detail
