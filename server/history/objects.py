"""What an event is about: a car, a setup, a run, a result, a photo …; found again by the words and values that events
keep, so that the chain itself needs no further column."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, false, func, literal, or_

from server.archive.events import canonical
from server.archive.tables import Event


@dataclass(frozen=True, slots=True)
class ObjectKind:
    """A kind of thing: its word, how one is named, the kinds of its events, and the condition of one by its name."""

    word: str
    named: str
    events: tuple[str, ...]
    one: Callable[[str], ColumnElement[bool]]


def about(kind: str, name: str = "", car_days: Iterable[int] = ()) -> ColumnElement[bool]:
    """The condition that events are about things of a kind, or one of them. car_days: the days of the car so named."""
    if kind not in OBJECTS:
        return false()
    chosen = OBJECTS[kind]
    if not name:
        return Event.kind.in_(chosen.events)
    found = chosen.one(name)
    if kind == "car":
        found = or_(found, and_(Event.kind.in_(OF_A_DAYS_CAR), Event.day_id.in_(list(car_days))))
    return and_(Event.kind.in_(chosen.events), found)


def _run(name: str) -> ColumnElement[bool]:
    number = name.removeprefix("run ").strip()
    listed = literal(", ") + func.replace(Event.subject, "runs ", "") + literal(", ")
    return or_(
        Event.subject.in_((f"run {number}", f"columns of run {number}")),
        Event.subject.startswith(f"run {number}, ", autoescape=True),
        Event.subject.endswith(f" of run {number}", autoescape=True),
        and_(Event.kind == "runs-added", listed.contains(f", {number}, ", autoescape=True)),
    )


def _setup(name: str) -> ColumnElement[bool]:
    quoted = canonical(name)
    return or_(
        Event.subject == f"setup {name}",
        and_(Event.kind == "run-moved", or_(Event.before == quoted, _holds(Event.after, f'"value":{quoted}'))),
        and_(Event.kind == "runs-added", _holds(Event.after, f'"setup":{quoted}')),
        and_(
            Event.kind == "verdict-decided",
            or_(
                Event.subject.endswith(f" of {name}", autoescape=True),
                Event.subject.contains(f" of {name} against ", autoescape=True),
                Event.subject.endswith(f" against {name}", autoescape=True),
            ),
        ),
    )


def _result(name: str) -> ColumnElement[bool]:
    return or_(_numbered("result", name), _numbered("result_id", name))


def _photo(name: str) -> ColumnElement[bool]:
    """By its number, or by its file's name."""
    by_name = or_(Event.subject == name, Event.subject.endswith(f" ({name})", autoescape=True))
    added = and_(Event.kind == "tuft-photo-added", _numbered("id", name))
    return or_(by_name, added, _numbered("photo_id", name))


def _car(name: str) -> ColumnElement[bool]:
    told = f'"car":{canonical(name)}'
    return or_(Event.subject.endswith(f" of {name}", autoescape=True), _holds(Event.after, told))


def _account(name: str) -> ColumnElement[bool]:
    """By its name; invitations to a new password of it; what it did with tokens."""
    return or_(
        Event.subject == name,
        Event.subject.endswith(f" of {name}", autoescape=True),
        and_(Event.kind.in_(("token-made", "token-ended")), Event.who == name),
    )


def _file(name: str) -> ColumnElement[bool]:
    """By its name or its SHA-256."""
    told = f'"sha256":{canonical(name)}'
    return or_(Event.subject == name, _holds(Event.after, told), _holds(Event.before, told))


def _subject(name: str) -> ColumnElement[bool]:
    return Event.subject == name


def _numbered(key: str, name: str) -> ColumnElement[bool]:
    """Before or after tells a number under a key: canonical JSON has a comma or an end behind it."""
    number = name.strip()
    if not (number.isascii() and number.isdigit()):
        return false()
    signs = [f'"{key}":{int(number)}{end}' for end in (",", "}")]
    return or_(*(_holds(column, one) for column in (Event.before, Event.after) for one in signs))


def _holds(column: Any, signs: str) -> ColumnElement[bool]:
    found: ColumnElement[bool] = column.contains(signs, autoescape=True)
    return found


OF_A_DAYS_CAR = ("car-changed", "calibration-changed")
OBJECTS = {
    "run": ObjectKind(
        "run", "by its number",
        ("runs-added", "run-moved", "run-changed", "run-remarked", "pass-edited", "role-assigned"), _run,
    ),
    "setup": ObjectKind(
        "setup", "by its name",
        ("setup-added", "setup-changed", "setup-revised", "run-moved", "runs-added", "verdict-decided"), _setup,
    ),
    "car": ObjectKind(
        "car", "by its name", (*OF_A_DAYS_CAR, "margins-changed", "predictions-matched", "predictions-added"), _car
    ),
    "result": ObjectKind(
        "result", "by its number", ("day-fitted", "day-signed", "day-studied", "result-fitted-again"), _result
    ),
    "photo": ObjectKind(
        "photo", "by its number or its file's name",
        ("tuft-photo-added", "tuft-photo-told", "tuft-marked", "tuft-stations-set", "tuft-view-set", "tuft-camera-set"),
        _photo,
    ),
    "predictions": ObjectKind("prediction set", "by its name", ("predictions-added", "predictions-ended"), _subject),
    "taps": ObjectKind("table of taps", "by its name", ("taps-measured",), _subject),
    "plan": ObjectKind("plan", "by its name", ("day-planned",), _subject),
    "file": ObjectKind("file", "by its name or SHA-256", ("file-received", "upload-dropped"), _file),
    "account": ObjectKind(
        "account", "by its name",
        ("account-made", "account-opened", "account-closed", "account-role", "account-password", "invitation-made",
         "invitation-withdrawn", "signed-in", "token-made", "token-ended"), _account,
    ),
    "day": ObjectKind(
        "day itself", "by its name",
        ("day-found", "day-added", "day-changed", "day-signed", "amendment-opened", "weather-changed", "roles-changed",
         "roles-remembered", "signals-added", "checks-acknowledged", "checklist-changed", "wanted-changed"), _subject,
    ),
    "archive": ObjectKind(
        "archive", "", ("archive-backed-up", "archive-verified", "season-refitted", "season-unpacked"), _subject
    ),
}  # fmt: skip
