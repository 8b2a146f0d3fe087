"""What lists show of a day as it stands: car, venue, setups with their parts, runs, notes; kept beside its revision.

Facts are made from a revision's files alone, so they can be made anew; a revision never changes, so they hold.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, NamedTuple, TypeVar

from sqlalchemy import String, cast, func, select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.archive.text_sql import holds
from server.days.car_facts import Given, car_facts
from server.days.day_shelf import stored_day
from server.days.service import revision_files
from server.days.tables import DayRevision, RevisionFacts
from server.errors import StillairError
from server.testday.values import Day, Run, Setup

FACTS_FORMAT = 2
MM = 1000.0
Part = TypeVar("Part")


@dataclass(frozen=True, slots=True)
class SetupFacts:
    """A setup as recorded. heights: front and rear [mm], None where not said; parts: free keys."""

    name: str
    baseline: str | None
    heights: tuple[float | None, float | None]
    parts: dict[str, str | float | bool]
    notes: str
    ballast_kg: float | None = None


@dataclass(frozen=True, slots=True)
class RunFacts:
    """A run: its setup, its logs by their paths, its notes, who drove and what the driver said."""

    number: int
    setup: str
    logs: tuple[str, ...]
    notes: str
    driver: str = ""
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class Brief:
    """What a revision is, shortly. runs: how many; problem: why its files can't be read as a day; then all is empty."""

    car: str = ""
    venue: str = ""
    notes: str = ""
    reference_speed_mps: float = 0.0
    setups: tuple[SetupFacts, ...] = ()
    runs: int = 0
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """All of it: in brief, its runs, what was given of the car."""

    brief: Brief
    runs: tuple[RunFacts, ...] = ()
    given: tuple[Given, ...] = ()


def day_facts(day: Day) -> Facts:
    """The facts of a day."""
    setups = tuple(_setup(setup) for setup in day.setups)
    brief = Brief(day.car.name, day.venue.name, day.notes, day.reference_speed_mps, setups, len(day.runs))
    return Facts(brief, tuple(_run(run) for run in day.runs), tuple(car_facts(day.car)))


def _setup(setup: Setup) -> SetupFacts:
    front, rear = setup.front_ride_height_m, setup.rear_ride_height_m
    heights = (None if front is None else round(front * MM, 3), None if rear is None else round(rear * MM, 3))
    ballast = setup.ballast_kg.value if setup.ballast_kg else None
    return SetupFacts(setup.name, setup.baseline, heights, dict(setup.parts), setup.notes, ballast)


def _run(run: Run) -> RunFacts:
    return RunFacts(run.number, run.setup, tuple(log.file for log in run.logs), run.notes, run.driver, run.remarks)


def newest_revisions(session: Session) -> dict[int, int]:
    """Day number → its newest revision's key, for all days."""
    newest = select(func.max(DayRevision.id)).group_by(DayRevision.day_id)
    rows = select(DayRevision.day_id, DayRevision.id).where(DayRevision.id.in_(newest))
    return {day_id: revision_id for day_id, revision_id in session.execute(rows)}  # noqa: C416 - rows are no pairs to dict()


def briefs_of(archive: Archive, session: Session, revisions: Iterable[int]) -> dict[int, Brief]:
    """Revision's key → its facts in brief."""
    return _part(archive, session, revisions, RevisionFacts.brief, _brief)


class RunWords(NamedTuple):
    """A run by what is written of it."""

    number: int
    notes: str
    remarks: str
    driver: str


def runs_holding(
    archive: Archive, session: Session, revisions: Iterable[int], words: Iterable[str]
) -> dict[int, tuple[RunWords, ...]]:
    """Revision's key → what is written of its runs, of those whose runs may hold the words: a search looks closer then.

    JSON keeps plain letters and digits as they are, so a word of nothing else that is not in it is nowhere. Facts that
    were made since the reading began are made again: it does not see them.
    """
    plain = [word for word in words if word.isascii() and word.isalnum()]
    text = cast(RevisionFacts.runs, String)
    chosen = select(RevisionFacts.revision_id, text).where(RevisionFacts.format == FACTS_FORMAT)
    wanted = set(revisions)
    rows = session.execute(chosen.where(*(holds(text, word) for word in plain)))
    known = set(session.scalars(select(RevisionFacts.revision_id).where(RevisionFacts.format == FACTS_FORMAT)))
    fresh = {key: _as_json(made_facts(archive, session, key))["runs"] for key in wanted - known}
    kept = {key: json.loads(runs) for key, runs in rows if key in wanted}
    return {key: tuple(map(_run_words, runs)) for key, runs in (fresh | kept).items()}


def _run_words(run: Mapping[str, Any]) -> RunWords:
    return RunWords(run["number"], run["notes"], run["remarks"], run["driver"])


def given_of(archive: Archive, session: Session, revisions: Iterable[int]) -> dict[int, tuple[Given, ...]]:
    """Revision's key → what was given of its car."""
    return _part(archive, session, revisions, RevisionFacts.given, lambda kept: tuple(Given(**one) for one in kept))


def _part(
    archive: Archive, session: Session, revisions: Iterable[int], column: Any, read: Callable[[Any], Part]
) -> dict[int, Part]:
    """One part of the facts; those of a revision that nobody looked at before are made now and kept."""
    wanted = set(revisions)
    rows = select(RevisionFacts.revision_id, column).where(RevisionFacts.format == FACTS_FORMAT)
    found = {key: read(kept) for key, kept in session.execute(rows) if key in wanted}
    made = {one: _as_json(made_facts(archive, session, one)) for one in sorted(wanted - set(found))}
    if made:
        _keep(archive, made)
    return found | {key: read(kept[column.key]) for key, kept in made.items()}


def made_facts(archive: Archive, session: Session, revision_id: int) -> Facts:
    """The facts of a revision, from its files."""
    try:
        return day_facts(stored_day(archive, revision_files(session, revision_id)))
    except StillairError as error:
        return Facts(Brief(problem=str(error)))


def keep_facts(session: Session, revision_id: int, day: Day) -> None:
    """Keep the facts of a revision with it, so that no page that is only read has to wait for its turn to write."""
    _put(session, revision_id, _as_json(day_facts(day)))


def _put(session: Session, revision_id: int, parts: Mapping[str, Any]) -> None:
    session.merge(RevisionFacts(revision_id=revision_id, format=FACTS_FORMAT, **parts))


def _keep(archive: Archive, made: Mapping[int, dict[str, Any]]) -> None:
    """They can be made again: where they can't be kept now, the page is shown all the same."""
    try:
        with archive.database.writing() as session:
            for revision_id, parts in made.items():
                _put(session, revision_id, parts)
    except StillairError as error:
        logging.getLogger(__name__).warning("what lists show of %d revisions was not kept: %s", len(made), error)


def _as_json(facts: Facts) -> dict[str, Any]:
    """As it will be read back: a list where JSON knows no tuple, so that what is compared is alike."""
    kept: dict[str, Any] = json.loads(json.dumps(asdict(facts)))
    return kept


def _brief(kept: Mapping[str, Any]) -> Brief:
    setups = (SetupFacts(**one | {"heights": tuple(one["heights"])}) for one in kept["setups"])
    return Brief(**kept | {"setups": tuple(setups)})
