"""What lists show of a day as it stands: car, venue, setups with their parts, runs, notes; kept beside its revision.

Facts are made from a revision's files alone, so they can be made anew; a revision never changes, so they hold.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.car_facts import Given, car_facts
from server.days.revisions import stored_day
from server.days.service import revision_files
from server.days.tables import DayRevision, RevisionFacts
from server.errors import StillairError
from server.testday.values import Day, Run, Setup

FACTS_FORMAT = 1
MM = 1000.0


@dataclass(frozen=True, slots=True)
class SetupFacts:
    """A setup as recorded. heights: front and rear [mm], None where not said; parts: free keys."""

    name: str
    baseline: str | None
    heights: tuple[float | None, float | None]
    parts: dict[str, str | float | bool]
    notes: str


@dataclass(frozen=True, slots=True)
class RunFacts:
    """A run: its setup, its logs by their paths, its notes."""

    number: int
    setup: str
    logs: tuple[str, ...]
    notes: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Of one revision. problem: why its files cannot be read as a day; then all else is empty."""

    car: str = ""
    venue: str = ""
    notes: str = ""
    reference_speed_mps: float = 0.0
    setups: tuple[SetupFacts, ...] = ()
    runs: tuple[RunFacts, ...] = ()
    given: tuple[Given, ...] = ()
    problem: str = ""


def day_facts(day: Day) -> Facts:
    """The facts of a day."""
    return Facts(
        car=day.car.name,
        venue=day.venue.name,
        notes=day.notes,
        reference_speed_mps=day.reference_speed_mps,
        setups=tuple(_setup(setup) for setup in day.setups),
        runs=tuple(_run(run) for run in day.runs),
        given=tuple(car_facts(day.car)),
    )


def _setup(setup: Setup) -> SetupFacts:
    front, rear = setup.front_ride_height_m, setup.rear_ride_height_m
    heights = (None if front is None else round(front * MM, 3), None if rear is None else round(rear * MM, 3))
    return SetupFacts(setup.name, setup.baseline, heights, dict(setup.parts), setup.notes)


def _run(run: Run) -> RunFacts:
    return RunFacts(run.number, run.setup, tuple(log.file for log in run.logs), run.notes)


def newest_revisions(session: Session) -> dict[int, int]:
    """Day number → its newest revision's key, for all days."""
    newest = select(func.max(DayRevision.id)).group_by(DayRevision.day_id)
    rows = select(DayRevision.day_id, DayRevision.id).where(DayRevision.id.in_(newest))
    return {day_id: revision_id for day_id, revision_id in session.execute(rows)}  # noqa: C416 - rows are no pairs to dict()


def facts_of(archive: Archive, session: Session, revisions: Mapping[int, int]) -> dict[int, Facts]:
    """Key → facts, for revisions by any key; those that nobody looked at before are made now and kept."""
    wanted = set(revisions.values())
    rows = select(RevisionFacts).where(RevisionFacts.revision_id.in_(wanted), RevisionFacts.format == FACTS_FORMAT)
    found = {row.revision_id: _from_json(row.facts) for row in session.scalars(rows)}
    made = {one: as_kept(made_facts(archive, session, one)) for one in sorted(wanted - set(found))}
    if made:
        _keep(archive, made)
    found |= made
    return {key: found[revision] for key, revision in revisions.items()}


def made_facts(archive: Archive, session: Session, revision_id: int) -> Facts:
    """The facts of a revision, from its files."""
    try:
        return day_facts(stored_day(archive, revision_files(session, revision_id)))
    except StillairError as error:
        return Facts(problem=str(error))


def _keep(archive: Archive, made: Mapping[int, Facts]) -> None:
    """They can be made again: where they can't be kept now, the page is shown all the same."""
    try:
        with archive.database.writing() as session:
            for revision_id, facts in made.items():
                session.merge(RevisionFacts(revision_id=revision_id, format=FACTS_FORMAT, facts=asdict(facts)))
    except StillairError as error:
        logging.getLogger(__name__).warning("what lists show of %d revisions was not kept: %s", len(made), error)


def as_kept(facts: Facts) -> Facts:
    """As it will be read back: a list where JSON knows no tuple, so that what is compared is alike."""
    return _from_json(json.loads(json.dumps(asdict(facts))))


def _from_json(kept: Mapping[str, Any]) -> Facts:
    rest = {field.name: kept[field.name] for field in fields(Facts)}
    return Facts(
        **rest
        | {
            "setups": tuple(SetupFacts(**one | {"heights": tuple(one["heights"])}) for one in kept["setups"]),
            "runs": tuple(RunFacts(**one | {"logs": tuple(one["logs"])}) for one in kept["runs"]),
            "given": tuple(Given(**one) for one in kept["given"]),
        }
    )
