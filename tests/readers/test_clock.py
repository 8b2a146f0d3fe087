"""Clock times and dates against Python's own."""

import datetime as dt

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from server.readers.clock import clock_seconds, date_days, datetime_parts, day_to_date

MOMENTS = st.lists(
    st.datetimes(min_value=dt.datetime(2000, 1, 1), max_value=dt.datetime(2099, 12, 31)),
    min_size=1,
    max_size=30,
)


@given(MOMENTS)
def test_iso_date_times(moments):
    days, seconds, certain, utc = datetime_parts([m.isoformat() for m in moments])
    assert days.tolist() == [m.toordinal() for m in moments]
    midnight = [m.replace(hour=0, minute=0, second=0, microsecond=0) for m in moments]
    expected = [(m - z).total_seconds() for m, z in zip(moments, midnight, strict=True)]
    np.testing.assert_allclose(seconds, expected, rtol=0, atol=2e-11)
    assert certain
    assert not utc


@given(MOMENTS)
def test_day_first_with_points(moments):
    days, certain = date_days([f"{m.day}.{m.month}.{m.year}" for m in moments])
    assert [day_to_date(day) for day in days] == [m.date() for m in moments]
    assert certain


@given(MOMENTS)
def test_month_first_needs_a_number_above_twelve(moments):
    days, certain = date_days([f"{m.month:02d}/{m.day:02d}/{m.year}" for m in moments])
    told = any(m.day > 12 for m in moments)
    assert certain == told
    if told:
        assert [day_to_date(day) for day in days] == [m.date() for m in moments]


@given(st.lists(st.integers(0, 86_399_999), min_size=1, max_size=30), st.sampled_from([".", ",", ":"]))
def test_clock_times_of_changing_width(milliseconds, mark):
    texts = [
        f"{n // 3_600_000}:{n // 60_000 % 60:02d}:{n // 1000 % 60:02d}{mark}{n % 1000:03d}"
        for n in milliseconds
    ]
    np.testing.assert_allclose(clock_seconds(texts), np.array(milliseconds) / 1000, rtol=0, atol=2e-11)


@given(st.lists(st.text(max_size=20), max_size=20))
def test_any_text(texts):
    assert (
        len(clock_seconds(texts)) == len(date_days(texts)[0]) == len(datetime_parts(texts)[0]) == len(texts)
    )


def test_unreadable_ones_stand_alone():
    seconds = clock_seconds(["09:00:00", "bad", "09:00:02", "", "9:0:3"])
    np.testing.assert_array_equal(seconds, [32_400, np.nan, 32_402, np.nan, 32_403])
    days, _ = date_days(["2026-05-09", "2026-13-40", "90/02/2032"])
    assert np.isnan(days[1:]).all()


def test_changed_zones_go_on_in_utc():
    days, seconds, _, utc = datetime_parts(["2026-03-29T00:59:59+00:00", "2026-03-29T02:00:00+01:00"])
    assert utc
    assert np.diff(days * 86_400 + seconds)[0] == 1.0


def test_many_forms_at_once():
    texts = [f"{n}:{n % 60:02d}:{n % 60:02d}.{'1' * (n % 9 + 1)}" for n in range(24)] * 30 + ["x"] * 300
    assert np.isfinite(clock_seconds(texts)[:720]).all()
