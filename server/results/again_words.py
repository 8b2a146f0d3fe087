"""What came of fitting results again as then, in words: for pages and for the command line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

KINDS = {"file": "files", "result": "the result", "option": "options", "code": "code", "version": "versions"}
WORDS = {"same": "the same numbers", "differs": "other numbers", "lost": "not to be fitted"}
ADDED = {
    "joint": "what is told of all setups together",
    "outlook": "what more passes would bring",
    "drift": "the baseline's runs against each other",
}
NOTHING_DIFFERS = (
    "Nothing that was kept of files, options, code or packages differs from what is there now, so the reason lies "
    "elsewhere: in the kept numbers themselves, or in how this computer rounds."
)
STILL = "The result stands as it was."


@dataclass(frozen=True, slots=True)
class ShownMove:
    """A number that is not as it was."""

    place: str
    then: str
    now: str
    change: str


@dataclass(frozen=True, slots=True)
class ShownChange:
    """A thing that differs between then and now."""

    kind: str
    what: str
    then: str
    now: str


@dataclass(frozen=True, slots=True)
class AgainView:
    """A result that was fitted again. more: how many numbers moved beside those that are shown."""

    number: int
    day_id: int
    day: str
    result_id: int
    revision: int
    made_at: str
    outcome: str
    sentence: str
    second: str
    moved: tuple[ShownMove, ...]
    more: int
    changes: tuple[ShownChange, ...]
    options: tuple[tuple[str, str], ...]
    then: tuple[tuple[str, str], ...]
    sha256: str
    who: str
    at: str


def again_sentence(report: Mapping[str, Any]) -> str:
    """Are the numbers those of then? In one sentence."""
    named = f"Result {report['result_id']} of {report['day']}, fitted again from what was kept with it"
    if report["outcome"] == "lost":
        return f"{named}: it cannot be. {report['sentence']}"
    if report["outcome"] == "same":
        return f"{named}: the same numbers to the last printed digit{_beneath(report)}."
    most = f", most of all {_most(report['shown'][0])}" if report["shown"] else ""
    return f"{named}: {report['moved']:,} of {report['compared']:,} numbers and words are not those of then{most}."


def _beneath(report: Mapping[str, Any]) -> str:
    if report["identical"]:
        return f", all {report['compared']:,} of them to the last bit"
    return f"; beneath it {report['hidden']:,} differ, by {report['largest_hidden']:.1g} of themselves or of u at most"


def _most(one: Mapping[str, Any]) -> str:
    if not one["then"]:
        return f"{one['place']} ({one['change']})"
    change = f" ({one['change']})" if one["change"] else ""
    return f"{one['place']}: {one['then']} then, {one['now']} now{change}"


def changes_sentence(report: Mapping[str, Any]) -> str:
    """What differs between then and now, by name; what it may mean."""
    changes = report["changes"]
    if not changes:
        return _added(report) if report["outcome"] == "same" else NOTHING_DIFFERS
    names = "; ".join(f"{_named(one)}: {one['then']} then, {one['now']} now" for one in changes[:4])
    more = f"; and {len(changes) - 4} more, listed below" if len(changes) > 4 else ""
    told = f"What differs between then and now: {names}{more}."
    calm = " None of it moved a printed digit." if report["outcome"] == "same" else ""
    return f"{told}{calm} {_added(report)}".strip()


def _added(report: Mapping[str, Any]) -> str:
    """What no result told when this one was made."""
    words = [ADDED.get(name, name) for name in report.get("added", ())]
    return f"Told now, and of no day then: {', '.join(words)}." if words else ""


def _named(one: Mapping[str, Any]) -> str:
    return f"the file {one['what']}" if one["kind"] == "file" else str(one["what"])


def short_change(report: Mapping[str, Any]) -> str:
    """What differs, by name alone, for a table."""
    return ", ".join(_named(one) for one in report["changes"]) or "nothing"


def again_view(number: int, report: Mapping[str, Any], sha256: str, who: str, at: str) -> AgainView:
    """As its page shows it."""
    columns = ("place", "then", "now", "change")
    shown = tuple(ShownMove(*(one[name] for name in columns)) for one in report.get("shown", ()))
    changes = tuple(ShownChange(KINDS[one["kind"]], one["what"], one["then"], one["now"]) for one in report["changes"])
    return AgainView(
        number=number,
        day_id=report["day_id"],
        day=report["day"],
        result_id=report["result_id"],
        revision=report["revision"],
        made_at=minute(report["made_at"]),
        outcome=report["outcome"],
        sentence=again_sentence(report),
        second=changes_sentence(report),
        moved=shown,
        more=report.get("moved", 0) - len(shown),
        changes=changes,
        options=tuple((name.replace("_", " "), f"{value:g}") for name, value in report.get("options", {}).items()),
        then=tuple(report.get("then", {}).items()),
        sha256=sha256,
        who=who or "nobody named",
        at=minute(at),
    )


def season_sentence(outcomes: Sequence[str], names: Sequence[str]) -> str:
    """How many results gave the same numbers, and which did not."""
    count = f"{len(outcomes)} result{'' if len(outcomes) == 1 else 's'} fitted again as then"
    others = [name for name, outcome in zip(names, outcomes, strict=True) if outcome != "same"]
    if not others:
        which = "it gave" if len(outcomes) == 1 else "every one gave"
        return f"{count}: {which} the same numbers to the last printed digit."
    same = len(outcomes) - len(others)
    listed = ", ".join(others[:3]) + (f" and {len(others) - 3} more" if len(others) > 3 else "")
    return f"{count}: {same} gave the same numbers to the last printed digit, {listed} did not. Look at those first."


def minute(at: str) -> str:
    """A moment to the minute."""
    return f"{at[:16].replace('T', ' ')} UTC"
