"""One table of a day folder (a TOML table or a CSV line), read key by key with errors that say where."""

from __future__ import annotations

import datetime as dt
import difflib
from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import NoReturn

from server.errors import DayFolderError
from server.testday.values import Finding, FindingGrade

_SHOWN_LENGTH = 60


class Table:
    """A table, where it stands, and which of its keys were asked for.

    `label` is how a sentence names it: "[car.front]", "[[runs]] 3", "line 12". What was noticed
    is appended to `findings`, which all tables of a folder share.
    """

    def __init__(self, values: Mapping[str, object], file: str, label: str, findings: list[Finding]) -> None:
        self.values = values
        self.file = file
        self.label = label
        self.findings = findings
        self.known: dict[str, None] = {}
        self._inner: dict[str, list[Table]] = {}

    def place(self, key: str = "") -> str:
        """Name file, table and key for a sentence."""
        return " ".join(part for part in (f"{self.file}:", self.label, key) if part)

    def refuse(self, key: str, why: str) -> NoReturn:
        """Raise the sentence "file: table key why"."""
        raise DayFolderError(f"{self.place(key)} {why}")

    def note(self, code: str, text: str, grade: FindingGrade = "note", run: int | None = None) -> None:
        """Append a finding."""
        self.findings.append(Finding(code, grade, text, run))

    def get(self, key: str) -> object | None:
        """Return the raw value, or None; the key counts as known from now on."""
        self.known[key] = None
        return self.values.get(key)

    def missing(self, key: str, hint: str = "") -> NoReturn:
        """Refuse a table that lacks a key without default, pointing at an unknown key that looks like it."""
        unknown = [name for name in self.values if name not in self.known]
        near = difflib.get_close_matches(key, unknown, n=1)
        instead = f" (there is {near[0]!r})" if near else ""
        self.refuse(key, f"is missing{instead}{hint}.")

    def wrong_type(self, key: str, value: object, wanted: str) -> NoReturn:
        """Refuse a value of the wrong kind, showing it."""
        self.refuse(key, f"is {shown(value)}; it must be {wanted}.")

    def text(self, key: str) -> str | None:
        """Return a text as it stands."""
        value = self.get(key)
        if value is not None and not isinstance(value, str):
            self.wrong_type(key, value, "text in quotes")
        return value

    def name(self, key: str) -> str | None:
        """Return a name that others refer to, blanks around it taken off; None for an empty one."""
        value = self.text(key)
        return value.strip() or None if value is not None else None

    def boolean(self, key: str, default: bool) -> bool:
        """Return true or false."""
        value = self.get(key)
        if value is not None and not isinstance(value, bool):
            self.wrong_type(key, value, "true or false")
        return default if value is None else value

    def whole(self, key: str, low: int, high: int, what: str) -> int | None:
        """Return a whole number within [low, high]."""
        value = self.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int):
            self.wrong_type(key, value, "a whole number")
        if not low <= value <= high:
            self.refuse(key, f"is {shown(value)}; {what} must lie between {low:,} and {high:,}.")
        return value

    def word(self, key: str, words: tuple[str, ...], what: str) -> str | None:
        """Return one of the words that a key allows."""
        value = self.name(key)
        if value is not None and value not in words:
            self.refuse(key, f"is {shown(value)}; {what} must be one of {listing(words)}.")
        return value

    def date(self, key: str) -> dt.date | None:
        """Return a calendar date, written bare or in quotes as YYYY-MM-DD."""
        value = self.get(key)
        if isinstance(value, str):
            try:
                value = dt.date.fromisoformat(value.strip())
            except ValueError:
                self.wrong_type(key, value, "a date such as 2026-05-09")
        if value is not None and (isinstance(value, dt.datetime) or not isinstance(value, dt.date)):
            self.wrong_type(key, value, "a date such as 2026-05-09")
        return value

    def items(self, key: str, wanted: str) -> list[object]:
        """Return a list, or an empty one where the key is absent."""
        value = self.get(key)
        if value is not None and not isinstance(value, list):
            self.wrong_type(key, value, wanted)
        return [] if value is None else value

    def table(self, key: str, label: str, written: str = "") -> Table | None:
        """Return a sub-table; `written` shows how it is written, where its label does not."""
        value = self.get(key)
        if value is None:
            return None
        if not isinstance(value, dict):
            self.refuse(key, f"is {kind(value)}; it must be a table written as {written or label}.")
        if key not in self._inner:
            self._inner[key] = [Table(value, self.file, label, self.findings)]
        return self._inner[key][0]

    def tables(self, key: str, label: str, of: str = "", called_by: str = "") -> list[Table]:
        """Return the tables of an array of tables; a sentence calls each by `called_by` or its position."""
        value = self.get(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
            self.refuse(key, f"is {kind(value)}; it must be tables, each written as {label}.")
        self._inner[key] = [
            Table(entry, self.file, f"{label} {_called(entry, called_by, position)}{of}", self.findings)
            for position, entry in enumerate(value, start=1)
        ]
        return self._inner[key]

    def close(self) -> None:
        """Note every key that nothing asked for, here and in the tables inside."""
        for key in self.values:
            if key not in self.known:
                text = f"{self.place(key)} is not known and was left out{nearest(key, self.known)}."
                self.note("unknown-key", text, "check")
        for inner in self._inner.values():
            for table in inner:
                table.close()


def _called(entry: Mapping[str, object], key: str, position: int) -> str:
    own = entry.get(key)
    return cut(str(own)) if isinstance(own, str | int) and str(own).strip() else str(position)


def nearest(word: str, known: Iterable[str]) -> str:
    """Return "; perhaps X was meant", or nothing."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"; perhaps {near[0]} was meant" if near else ""


def shown(value: object) -> str:
    """Show a value in a sentence as it was written, cut where it is long."""
    if isinstance(value, str):
        return f"the text {cut(value)!r}"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | Decimal):
        return cut(str(value))
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return kind(value)


def cut(text: str) -> str:
    """Cut a long text for a sentence."""
    one_line = " ".join(text.split())
    return one_line if len(one_line) <= _SHOWN_LENGTH else one_line[:_SHOWN_LENGTH] + "…"


def kind(value: object) -> str:
    """Say what kind of TOML value something is."""
    kinds: tuple[tuple[type, str], ...] = (
        (bool, "true or false"),
        (str, "a text"),
        (int, "a number"),
        (Decimal, "a number"),
        (dict, "a table"),
        (list, "a list"),
    )
    return next((word for of, word in kinds if isinstance(value, of)), "a date or time")


def listing(words: Iterable[str], joined_by: str = "or") -> str:
    """Join words as "a, b or c"."""
    *first, last = words
    return f"{', '.join(first)} {joined_by} {last}" if first else last
