"""One cell of a table: is it a number, a time, a date, blank or words; and the number it holds."""

from __future__ import annotations

import math
import re
from typing import Literal

Kind = Literal["blank", "number", "clock", "date", "datetime", "angle", "text"]

# Spellings of "no sample" that the C parser does not take as blank by itself.
MORE_BLANKS = (
    *("-", "--", "---", "----", "?", "*", "**", "***", ".", "n.a.", "N.A."),
    *("invalid", "INVALID", "Invalid", "NoData", "nodata", "no data"),
)
_PARSERS_BLANKS = (
    *("", "nan", "-nan", "na", "n/a", "#n/a", "null", "none", "nan(ind)", "-nan(ind)"),
    *("1.#qnan", "-1.#ind", "1.#ind", "-1.#qnan", "nil", "missing", "inf", "-inf"),
)
BLANK_WORDS = frozenset(word.casefold() for word in MORE_BLANKS + _PARSERS_BLANKS)
_EXPONENT = r"(?:[eEdD][+-]?\d{1,3})?"
_POINT = re.compile(rf"[+-]?(?:\d+\.?\d*|\.\d+){_EXPONENT}", re.ASCII)
_COMMA = re.compile(rf"[+-]?(?:\d+,?\d*|,\d+){_EXPONENT}", re.ASCII)
_GROUPED_POINT = re.compile(r"[+-]?[1-9]\d{0,2}(?:[,'’ \u00a0\u202f]\d{3})+(?:\.\d*)?", re.ASCII)
_GROUPED_COMMA = re.compile(r"[+-]?[1-9]\d{0,2}(?:[.'’ \u00a0\u202f]\d{3})+(?:,\d*)?", re.ASCII)
_PLAIN_NUMBER = {".": _POINT, ",": _COMMA}
_GROUPED_NUMBER = {".": _GROUPED_POINT, ",": _GROUPED_COMMA}
_GROUP_MARKS = re.compile(r"['’ \u00a0\u202f]")
CLOCK = r"\d{1,3}:[0-5]?\d(?::[0-5]?\d(?:[.,:]\d+)?|[.,]\d+)?(?: ?[AaPp]\.?[Mm]\.?)?"
DATE = (
    r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})"
    r"|\d{1,2}[- .]+[A-Za-zÀ-ÿ]{3,9}\.?[- ,]+\d{4}"
)
ZONE = r"Z|UTC|[+-]\d\d:?(?:\d\d)?"
DATETIME = rf"(?:{DATE})(?:T|, ?| {{1,3}}){CLOCK}(?: ?(?:{ZONE}))?"
_SECONDS = r"(?:\d{1,2}(?:[.,]\d+)? ?(?:\"|″|''))"
_MINUTES = rf"(?:\d{{1,2}}(?:[.,]\d+)? ?['′’]? ?{_SECONDS}?)"
ANGLE = (
    rf"[NSEW]? ?[+-]?\d{{1,3}} ?[°º] ?{_MINUTES}? ?[NSEW]?"
    r"|[NSEW] ?\d{1,5}[.,]\d+|\d{1,5}[.,]\d+ ?[NSEW]"
)
_PATTERNS: tuple[tuple[Kind, re.Pattern[str]], ...] = (
    ("clock", re.compile(CLOCK, re.ASCII)),
    ("date", re.compile(DATE, re.ASCII)),
    ("datetime", re.compile(DATETIME, re.ASCII)),
    ("angle", re.compile(ANGLE, re.IGNORECASE | re.ASCII)),
)


def kind_of(cell: str, decimal: str = ".") -> Kind:
    """Tell what a cell holds, where `decimal` is "." or ","."""
    cell = bare(cell)
    if _PLAIN_NUMBER[decimal].fullmatch(cell):
        return "number"
    if cell.casefold() in BLANK_WORDS:
        return "blank"
    if _GROUPED_NUMBER[decimal].fullmatch(cell):
        return "number"
    return next((kind for kind, pattern in _PATTERNS if pattern.fullmatch(cell)), "text")


def bare(cell: str) -> str:
    """Return a cell without the blanks and quotes around it."""
    return cell.strip().strip('"').strip()


def is_grouped(cell: str, decimal: str) -> bool:
    """Tell whether a number is written with a mark between its thousands."""
    return bool(_GROUPED_NUMBER[decimal].fullmatch(bare(cell)))


def number_of(cell: str, decimal: str = ".") -> float:
    """Read a number; the other decimal mark is taken where that is the only reading. NaN if unreadable."""
    cell = bare(cell)
    for mark in (decimal, "." if decimal == "," else ","):
        if _PLAIN_NUMBER[mark].fullmatch(cell):
            return _float(cell.replace(",", ".") if mark == "," else cell)
        if _GROUPED_NUMBER[mark].fullmatch(cell):
            plain = _GROUP_MARKS.sub("", cell)
            return _float(plain.replace(",", "") if mark == "." else plain.replace(".", "").replace(",", "."))
    return math.nan


def is_blank(cell: str) -> bool:
    """Tell whether a cell says that there is no sample."""
    return bare(cell).casefold() in BLANK_WORDS


def _float(text: str) -> float:
    value = float(text.replace("d", "e").replace("D", "e"))
    return value if math.isfinite(value) else math.nan
