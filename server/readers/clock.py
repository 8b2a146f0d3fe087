"""Clock times, dates and date-times of cells as numbers."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence

import numpy as np

from server.readers.cell_groups import Parsed, match_cells
from server.testday.values import FloatArray

SECONDS_PER_DAY = 86_400.0
_WORD_GROUPS = ("half", "half2", "zone", "mark", "word")
_CLOCK = (
    r"(?:(?P<hour>\d{1,3}):)?(?P<minute>\d{1,3}):(?P<second>\d{1,2})(?:[.,:](?P<fraction>\d+))?"
    r"(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?"
    r"|(?P<hour2>\d{1,3}):(?P<minute2>\d{2}) ?(?P<half2>[AaPp])\.?[Mm]\.?"
)
_YEAR_FIRST = r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})"
_YEAR_LAST = r"(?P<first>\d{1,2})(?P<mark>[-/.])(?P<middle>\d{1,2})[-/.](?P<year2>\d{4}|\d{2})"
_WORDED = r"(?P<day3>\d{1,2})[- .]+(?P<word>[A-Za-zÀ-ÿ]{3,9})\.?[- ,]+(?P<year3>\d{4})"
_DATE = rf"(?:{_YEAR_FIRST}|{_YEAR_LAST}|{_WORDED})"
_ZONE = r"(?: ?(?P<zone>Z|UTC|[+-]\d\d:?(?:\d\d)?))?"
CLOCK = re.compile(_CLOCK, re.ASCII)
DATE = re.compile(_DATE, re.ASCII)
DATETIME = re.compile(rf"{_DATE}(?:T|, ?| {{1,3}})(?:{_CLOCK}){_ZONE}", re.ASCII)
_MONTHS = (
    *(("jan", "ene"), ("feb", "fev", "fév"), ("mar", "mär", "mrz"), ("apr", "abr", "avr"), ("may", "mai")),
    *(("jun", "juin"), ("jul", "juil"), ("aug", "ago", "aoû", "aou"), ("sep", "set"), ("oct", "okt", "out")),
    *(("nov",), ("dec", "dez", "dic", "déc")),
)


def clock_seconds(texts: Sequence[str]) -> FloatArray:
    """Read "H:M:S", "H:M:S.fff", "M:S.f" and "H:M:S PM" [s]; NaN where unreadable."""
    return _seconds(match_cells(texts, CLOCK, _WORD_GROUPS))


def date_days(texts: Sequence[str], weights: Sequence[int] | None = None) -> tuple[FloatArray, bool]:
    """Read dates as proleptic day numbers; also whether day and month could be told apart.

    2026-05-09 is year first, 9.5.2026 with points is day first, 9/5/2026 hangs on numbers above 12.
    weights: how often each text stands; the majority decides.
    """
    return _days(match_cells(texts, DATE, _WORD_GROUPS), weights)


def datetime_parts(texts: Sequence[str]) -> tuple[FloatArray, FloatArray, bool, bool]:
    """Read date-times: day numbers, seconds [s], whether day and month are told apart, whether in UTC."""
    parsed = match_cells(texts, DATETIME, _WORD_GROUPS)
    days, certain = _days(parsed, None)
    seconds = _seconds(parsed)
    zones = set(parsed.words["zone"]) - {""}
    for zone in zones - {"Z", "UTC"}:
        sign = -1.0 if zone[0] == "-" else 1.0
        digits = zone[1:].replace(":", "")
        shift = sign * (int(digits[:2]) * 3600.0 + (int(digits[2:4]) * 60.0 if len(digits) > 2 else 0.0))
        if len(zones) > 1:  # mixed zones (summer time began): bring all to UTC
            seconds = seconds - shift * (parsed.words["zone"] == zone)
    return days, seconds, certain, bool(zones & {"Z", "UTC"}) or len(zones) > 1


def day_to_date(day: float) -> dt.date | None:
    """Turn a day number back into a date; None if it is no date of these times."""
    return dt.date.fromordinal(int(day)) if np.isfinite(day) and 700_000 < day < 800_000 else None


def _seconds(parsed: Parsed) -> FloatArray:
    n = parsed.numbers
    hour = np.where(np.isnan(n["hour"]), n["hour2"], n["hour"])
    minute = np.where(np.isnan(n["minute"]), n["minute2"], n["minute"])
    second = np.where(np.isnan(n["second"]) & ~np.isnan(n["minute2"]), 0.0, n["second"])
    half = parsed.words["half"] + parsed.words["half2"]
    if (half != "").any():
        hour = np.where((half != "") & (hour == 12), 0.0, hour) + 12.0 * np.isin(half, ["p", "P"])
    total = np.nan_to_num(hour) * 3600.0 + minute * 60.0 + second
    return np.asarray(total + np.nan_to_num(n["fraction"]))


def _days(parsed: Parsed, weights: Sequence[int] | None) -> tuple[FloatArray, bool]:
    n = parsed.numbers
    first, middle = n["first"], n["middle"]
    pointed = parsed.words["mark"] == "."
    weight = np.ones(len(first)) if weights is None else np.asarray(weights, dtype=np.float64)
    first_days = float(np.sum(weight * ((first > 12) & (middle <= 12))))
    middle_days = float(np.sum(weight * ((middle > 12) & (first <= 12))))
    points = bool((pointed | np.isnan(first)).all())
    day_first = points or first_days > middle_days
    certain = points or first_days != middle_days
    day, month = (first, middle) if day_first else (middle, first)
    year = np.where(np.isnan(n["year2"]), n["year"], n["year2"])
    year = np.where(np.isnan(year), n["year3"], np.where(year < 100, year + 2000, year))
    month = np.where(np.isnan(month), n["month"], month)
    day = np.where(np.isnan(day), n["day"], day)
    named, which = np.unique(parsed.words["word"].astype(str), return_inverse=True)
    words = np.array([_month(word) for word in named], dtype=np.float64)[which]
    month, day = np.where(np.isnan(month), words, month), np.where(np.isnan(day), n["day3"], day)
    return _ordinals(year, month, day), certain


def _ordinals(year: FloatArray, month: FloatArray, day: FloatArray) -> FloatArray:
    unique, first, inverse = np.unique(
        year * 10_000.0 + month * 100.0 + day, return_index=True, return_inverse=True
    )
    dates = [_ordinal(year[i], month[i], day[i]) for i in first]
    return np.array(dates, dtype=np.float64)[inverse] if len(unique) else np.empty(0)


def _ordinal(year: float, month: float, day: float) -> float:
    try:
        return float(dt.date(int(year), int(month), int(day)).toordinal())
    except ValueError:
        return np.nan


def _month(word: str) -> float:
    low = word.casefold()
    return (
        next((i + 1.0 for i, starts in enumerate(_MONTHS) if low.startswith(starts)), np.nan)
        if low
        else np.nan
    )
