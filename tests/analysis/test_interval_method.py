"""The speed-interval method against the published procedure and production cars.

Sources: tests/published/un_gtr_15/CITATION and tests/published/epa_test_cars/CITATION.
"""

import numpy as np
import pytest
import scipy.stats

from server.aero.coast_down import QuadraticLaw, speed_after, time_between
from server.analysis.interval_method import (
    CoastDown,
    IntervalOptions,
    WindowTimes,
    interval_method,
    interval_method_from_times,
    precision,
    precision_factor,
)
from server.analysis.result import IntervalMethod
from tests.published import table

KMH = 1.0 / 3.6
MASS, DENSITY = 300.0, 1.2
STUDENT_CAR = QuadraticLaw(MASS, 0.018 * MASS * 9.80665, 0.0, 0.5 * DENSITY * 1.5)


def coast(law: QuadraticLaw, start: float, end: float, direction: int, rate_hz: float = 20.0) -> CoastDown:
    t = np.arange(0.0, float(time_between(start, end, law)), 1.0 / rate_hz)
    return CoastDown(t, speed_after(t, start, law), direction)


def noisy(one: CoastDown, random: np.random.Generator, sigma: float) -> CoastDown:
    return CoastDown(one.time_s, one.speed_mps + random.normal(0.0, sigma, one.time_s.size), one.direction)


# The published formulas


def test_precision_factors_are_the_published_ones_and_students() -> None:
    """UN GTR 15 table A4/4, 3 to 20 pairs: h is Student's t to one decimal.

    h/√n agrees to half its last digit but for 17 and 18 pairs, printed 0.52 and 0.50 where the h beside them
    makes 0.509 and 0.495; those to a whole digit.
    """
    rows = table("un_gtr_15", "precision_factors")
    ours = np.array([precision_factor(int(n)) for n in rows["pairs"]])
    np.testing.assert_array_equal(ours, rows["h"])
    off = np.abs(ours / np.sqrt(rows["pairs"]) - rows["h_over_sqrt_n"])
    digits = np.where(np.isin(rows["pairs"], (17, 18)), 0.011, 0.005)
    assert np.all(off <= digits + 1e-12)
    # The table has 2.2 for 2.145 (n = 15), hence a hair over half a digit.
    np.testing.assert_allclose(ours, scipy.stats.t.ppf(0.975, rows["pairs"] - 1), rtol=0.0, atol=0.0553)


def test_precision_factor_beyond_the_table() -> None:
    assert precision_factor(2) == 12.7
    assert precision_factor(21) == 2.1
    assert precision_factor(1000) == 2.0
    with pytest.raises(ValueError, match="pairs"):
        precision_factor(1)


OUT, BACK = (10.0, 10.4, 10.1), (9.2, 9.5, 9.1)


def test_pair_times_precision_and_force() -> None:
    """Three pairs: 9.583 33, 9.929 65, 9.573 96 s; mean 9.692 85 s, p 0.051 92 (too wide); 94.285 N."""
    window = WindowTimes(60.0 * KMH, 5.0 * KMH, OUT, BACK)
    np.testing.assert_allclose(window.pair_times_s, [9.58333, 9.92965, 9.57396], rtol=0.0, atol=5e-6)
    assert precision(window.pair_times_s) == pytest.approx(0.05192, abs=5e-6)
    result = interval_method_from_times([window], 329.0, 1.2)
    assert result.windows[0].mean_time_s == pytest.approx(9.69285, abs=5e-6)
    assert result.windows[0].force_n == pytest.approx(94.285, abs=5e-4)
    assert result.windows[0].precision == pytest.approx(0.05192, abs=5e-6)


@pytest.mark.parametrize(
    ("speed_kmh", "low_percent"), [(20, 0.11), (40, 0.43), (60, 0.36), (80, 0.26), (100, 0.19)]
)
def test_bias_of_a_window(speed_kmh: float, low_percent: float) -> None:
    """F of a ±5 km/h window is low by so much: f0 60 N, f1 0.2, f2 0.055 in km/h, 329 kg, exact times."""
    law = QuadraticLaw(329.0, 60.0, 0.2 * 3.6, 0.055 * 3.6**2)
    v, half = speed_kmh * KMH, 5.0 * KMH
    time = float(time_between(v + half, v - half, law))
    force = (
        interval_method_from_times([WindowTimes(v, half, (time,), (time,))], 329.0, 1.2).windows[0].force_n
    )
    assert 100.0 * (1.0 - force / float(law.resistance(v))) == pytest.approx(low_percent, abs=0.005)


def exact_times(law: QuadraticLaw, half: float, speeds: np.ndarray, pairs: int = 3) -> list[WindowTimes]:
    times = [float(time_between(v + half, v - half, law)) for v in speeds]
    return [
        WindowTimes(float(v), half, (t,) * pairs, (t,) * pairs) for v, t in zip(speeds, times, strict=True)
    ]


def test_typed_times_give_the_coefficients_back() -> None:
    """Narrow windows on an exact coast-down: f0, f1, f2 return but for the window's bias of 0.02 %."""
    law = QuadraticLaw(329.0, 60.0, 0.72, 0.7128)
    result = interval_method_from_times(exact_times(law, 0.1, np.arange(6.0, 31.0, 3.0)), 329.0, 1.2)
    assert result.three_term == pytest.approx((60.0, 0.72, 0.7128), rel=2e-3)
    assert result.scx_three_term is not None
    assert result.scx_three_term.value == pytest.approx(2.0 * 0.7128 / 1.2, rel=2e-4)


# Recorded passes


def student_passes(pairs: int, start: float = 28.0, end: float = 8.0) -> list[CoastDown]:
    return [coast(STUDENT_CAR, start, end, way) for way in (1, -1) * pairs]


def test_clean_coast_downs_of_a_student_car() -> None:
    """28 to 8 m/s: six windows of the published grid, area within 0.2 % (two terms) and 0.5 % (three)."""
    result = interval_method(student_passes(4), MASS, DENSITY)
    assert [round(3.6 * window.speed_mps) for window in result.windows] == [40, 50, 60, 70, 80, 90]
    assert result.scx_two_term is not None
    assert result.scx_three_term is not None
    assert result.scx_two_term.value == pytest.approx(1.5, rel=2e-3)
    assert result.scx_three_term.value == pytest.approx(1.5, rel=5e-3)
    assert result.scx_two_term.source == "measured"
    assert result.text == "4 pairs through 6 windows of ±5 km/h, 40 to 90 km/h."


def test_steady_wind_and_grade_leave_the_area() -> None:
    """Opposite passes in 1.5 m/s and on 0.1 % slope: the area stays within 0.3 %, f0 takes f2 w² (w1)."""
    passes, c = [], float(STUDENT_CAR.c)
    for way in (1, -1) * 3:
        w, slope = 1.5 * way, 0.001 * way * MASS * 9.80665
        law = QuadraticLaw(MASS, float(STUDENT_CAR.a) + c * w**2 + slope, 2.0 * c * w, c)
        passes.append(coast(law, 28.0, 8.0, way))
    still = interval_method(student_passes(3), MASS, DENSITY)
    windy = interval_method(passes, MASS, DENSITY)
    assert windy.scx_two_term is not None
    assert still.scx_two_term is not None
    assert still.two_term is not None
    assert windy.two_term is not None
    assert windy.scx_two_term.value == pytest.approx(still.scx_two_term.value, rel=3e-3)
    assert windy.two_term[0] - still.two_term[0] == pytest.approx(c * 1.5**2, rel=0.1)


def test_intervals_hold_under_white_noise() -> None:
    """Sixty days of four pairs with 0.05 m/s of noise: the 95 % intervals miss six times at most."""
    random = np.random.default_rng(7)
    clean = student_passes(4)
    quiet = interval_method(clean, MASS, DENSITY)
    assert quiet.scx_two_term is not None
    assert quiet.scx_three_term is not None
    misses = np.zeros(2)
    for _ in range(60):
        day = interval_method([noisy(one, random, 0.05) for one in clean], MASS, DENSITY)
        for place, (found, truth) in enumerate(
            [(day.scx_two_term, quiet.scx_two_term), (day.scx_three_term, quiet.scx_three_term)]
        ):
            assert found is not None
            misses[place] += not found.low95 <= truth.value <= found.high95
    assert np.all(misses <= 6)


def gusty_passes(random: np.random.Generator, gust_sd: float, gust_time_s: float) -> list[CoastDown]:
    """Four pairs in a head wind of about 1.2 m/s with Ornstein-Uhlenbeck gusts, stepped at 20 Hz."""
    way, step = np.array((1, -1) * 4), 0.05
    wind = 1.2 + random.normal(0.0, 0.2, 8)
    gust, speeds = random.normal(0.0, gust_sd, 8), [np.full(8, 28.0)]
    while np.max(speeds[-1]) > 8.0 and len(speeds) < 1500:
        v = speeds[-1]
        air = v + way * (wind + gust)
        speeds.append(
            np.maximum(v - step / MASS * (float(STUDENT_CAR.a) + float(STUDENT_CAR.c) * air**2), 0.0)
        )
        shocks = random.normal(0.0, gust_sd * np.sqrt(2.0 * step / gust_time_s), 8)
        gust = gust * (1.0 - step / gust_time_s) + shocks
    columns = np.array(speeds).T
    return [
        CoastDown(step * np.arange(np.sum(v > 8.0)), v[v > 8.0], int(d))
        for v, d in zip(columns, way, strict=True)
    ]


def test_intervals_hold_in_gusts() -> None:
    """A hundred days with gusts of 1 m/s and 6 s: the 95 % intervals miss ten times at most, three terms
    scatter over twice as much as two, and their stated u is within a quarter of the scatter that is there."""
    random = np.random.default_rng(19)
    days = [interval_method(gusty_passes(random, 1.0, 6.0), MASS, DENSITY) for _ in range(100)]
    rms = []
    for found in ([day.scx_two_term for day in days], [day.scx_three_term for day in days]):
        held = [one for one in found if one is not None]
        assert len(held) == 100
        assert sum(not one.low95 <= 1.5 <= one.high95 for one in held) <= 10
        rms.append(np.sqrt(np.mean([(one.value - 1.5) ** 2 for one in held])))
        assert np.sqrt(np.mean([one.u**2 for one in held])) == pytest.approx(rms[-1], rel=0.25)
    assert rms[1] > 2.0 * rms[0]


def test_u_follows_the_scatter_between_pairs() -> None:
    """Pairs whose f2 differ by ±2 % about an exact curve: u of the mean of four is sd/√4 with 3 degrees."""
    factors = (0.98, 1.02, 0.99, 1.01)
    laws = [QuadraticLaw(MASS, 50.0, 0.0, 0.9 * factor) for factor in factors]
    passes = [coast(law, 28.0, 8.0, way) for law in laws for way in (1, -1)]
    result = interval_method(passes, MASS, DENSITY)
    sd = 1.5 * float(np.std(factors, ddof=1))
    assert result.scx_two_term is not None
    assert result.scx_two_term.u == pytest.approx(sd / 2.0, rel=0.01)
    assert result.scx_two_term.u95 == pytest.approx(
        scipy.stats.t.ppf(0.975, 3) * result.scx_two_term.u, rel=1e-9
    )


def test_parts_of_the_range_are_paired_window_by_window() -> None:
    """A short straight: fast parts 28 to 17 and slow parts 19 to 8 m/s join into one curve."""
    parts = [coast(STUDENT_CAR, *span, way) for span in ((28.0, 17.0), (19.0, 8.0)) for way in (1, -1) * 3]
    result = interval_method(parts, MASS, DENSITY)
    assert {len(window.times_out_s) for window in result.windows} == {3}
    assert len(result.windows) >= 5
    assert result.scx_two_term is not None
    assert result.scx_two_term.value == pytest.approx(1.5, rel=5e-3)


def test_small_range_halves_the_grid() -> None:
    """22 to 11 m/s holds three windows of ±5 km/h only; ±2.5 km/h every 5 km/h make five and more."""
    result = interval_method(student_passes(3, 22.0, 11.0), MASS, DENSITY)
    steps = np.diff([3.6 * window.speed_mps for window in result.windows])
    np.testing.assert_allclose(steps, 5.0, rtol=1e-9)
    assert "±2.5 km/h" in result.text
    assert result.scx_two_term is not None


def test_windows_can_be_chosen() -> None:
    options = IntervalOptions(reference_speeds_mps=(20.0, 10.0, 15.0, 24.0), half_window_mps=1.0)
    result = interval_method(student_passes(3), MASS, DENSITY, options)
    assert [window.speed_mps for window in result.windows] == [10.0, 15.0, 20.0, 24.0]


# What cannot be had


def has_no_area(result: IntervalMethod) -> bool:
    parts = (result.three_term, result.two_term, result.scx_three_term, result.scx_two_term)
    return all(part is None for part in parts)


def test_one_way_gives_times_but_no_area() -> None:
    result = interval_method([coast(STUDENT_CAR, 28.0, 8.0, 1)] * 4, MASS, DENSITY)
    assert has_no_area(result)
    assert "same way" in result.text
    assert all(window.precision is None and window.times_back_s == () for window in result.windows)
    assert result.windows[0].mean_time_s == pytest.approx(result.windows[0].times_out_s[0], rel=1e-12)


def test_a_single_pair_is_too_few() -> None:
    result = interval_method(student_passes(1), MASS, DENSITY)
    assert has_no_area(result)
    assert result.windows
    assert "2 or more pairs" in result.text


def test_two_pairs_are_used_and_said_to_be_few() -> None:
    result = interval_method(student_passes(2), MASS, DENSITY)
    assert result.scx_two_term is not None
    assert "asks for 3 pairs" in result.text


def test_nothing_to_time() -> None:
    assert has_no_area(interval_method([], MASS, DENSITY))
    short = interval_method([coast(STUDENT_CAR, 10.2, 10.0, way) for way in (1, -1)], MASS, DENSITY)
    assert has_no_area(short)
    assert "nothing to time" in short.text


def test_a_pass_without_a_partner_is_left_out() -> None:
    with_extra = interval_method([*student_passes(3), coast(STUDENT_CAR, 28.0, 8.0, 1)], MASS, DENSITY)
    without = interval_method(student_passes(3), MASS, DENSITY)
    assert with_extra.two_term == pytest.approx(without.two_term, rel=1e-12)
    assert "6 times without a partner" in with_extra.text


def test_a_pass_of_unknown_direction_is_left_out() -> None:
    lost = CoastDown(*[getattr(student_passes(1)[0], name) for name in ("time_s", "speed_mps")], direction=0)
    with_lost = interval_method([*student_passes(3), lost], MASS, DENSITY)
    assert with_lost.two_term == pytest.approx(interval_method(student_passes(3), MASS, DENSITY).two_term)
    assert "1 pass of unknown direction left out" in with_lost.text
    assert has_no_area(interval_method([lost, lost], MASS, DENSITY))


def test_wide_scatter_is_named() -> None:
    windows = [WindowTimes(v * KMH, 5.0 * KMH, OUT, BACK) for v in (40.0, 50.0, 60.0, 70.0)]
    assert (
        "Precision p above 0.03 at 40, 50, 60, 70 km/h"
        in interval_method_from_times(windows, 329.0, 1.2).text
    )


def test_wrong_arguments_are_named() -> None:
    with pytest.raises(ValueError, match="effective_mass_kg"):
        interval_method([], 0.0, 1.2)
    with pytest.raises(ValueError, match="density_kgm3"):
        interval_method([], 300.0, -1.2)
