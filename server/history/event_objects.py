"""The things that an event is about, as links name them: the choice of each in `objects.about` finds the event."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

from server.archive.tables import Event
from server.history.objects import OBJECTS

MOST_LINKS = 12
WITHIN_A_DAY = ("run", "setup")  # each day has its own
Named = list[tuple[str, str]]


def objects_of(event: Event) -> Named:
    """Kind and name of each; none where an event is about nothing that has a name."""
    by_kind = _BY_KIND.get(event.kind)
    return by_kind(event)[:MOST_LINKS] if by_kind else []


def _runs(event: Event) -> Named:
    found = re.findall(r"\d+" if event.kind == "runs-added" else r"\brun (\d+)", event.subject)
    return [("run", number) for number in (found if event.kind == "runs-added" else found[:1])]


def _results(event: Event) -> Named:
    told = _told(event.after)
    number = told.get("result", told.get("result_id"))
    return [("result", str(number))] if isinstance(number, int) else []


def _photos(event: Event) -> Named:
    rows = _told(event.after).get("rows")
    key = "id" if event.kind == "tuft-photo-added" else "photo_id"
    found = [row.get(key) for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    return [("photo", str(number)) for number in dict.fromkeys(found) if isinstance(number, int)]


def _setup(event: Event) -> Named:
    return [("setup", event.subject.removeprefix("setup "))]


def _setups_of_verdict(event: Event) -> Named:
    names = event.subject.partition(" of ")[2].split(" against ")
    return [("setup", name) for name in names if name]


def _car(event: Event) -> Named:
    return [("car", event.subject.partition(" of ")[2])]


def _subject(slug: str) -> Callable[[Event], Named]:
    return lambda event: [(slug, event.subject)]


def _told(text: str | None) -> dict[str, Any]:
    value = json.loads(text) if text else {}
    return value if isinstance(value, dict) else {}


_BY_KIND: dict[str, Callable[[Event], Named]] = {
    **{kind: _subject(slug) for slug in ("predictions", "taps", "plan", "file") for kind in OBJECTS[slug].events},
    **dict.fromkeys(OBJECTS["run"].events, _runs),
    **dict.fromkeys(OBJECTS["result"].events, _results),
    **dict.fromkeys(OBJECTS["photo"].events, _photos),
    **dict.fromkeys(("setup-added", "setup-changed", "setup-revised"), _setup),
    "verdict-decided": _setups_of_verdict,
    **dict.fromkeys(("margins-changed", "predictions-matched"), _car),
    **{kind: _subject("account") for kind in OBJECTS["account"].events if kind.startswith("account-")},
    "signed-in": _subject("account"),
}
