"""Decisions about verdicts: kept once, superseded by later ones, found again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.analysis.correlated import Correlated
from server.archive.events import record
from server.correlation.service import DayVerdicts
from server.correlation.tables import STANCES, DecisionNote
from server.errors import NotFoundError, StillairError
from server.predictions.service import told_row

DECIDED = "verdict-decided"
LONGEST = 4000


@dataclass(frozen=True, slots=True)
class Decision:
    """What a person says of a verdict; supersedes: the number of the note that it takes the place of."""

    stance: str
    text: str
    supersedes: int | None = None


def keep_note(
    session: Session, car: str, of: tuple[DayVerdicts, Correlated], told: str, decision: Decision, *, who: str
) -> DecisionNote:
    """Keep a decision about one verdict of one result and one set. Raises StillairError.

    told: the verdict's sentence as it stands.
    """
    day, one = of
    text = decision.text.strip()
    if decision.stance not in STANCES:
        raise StillairError("Say whether the verdict is accepted, explained or doubted.")
    if not text:
        raise StillairError("Write down why: whoever reads the verdict in three years was not there.")
    if len(text) > LONGEST:
        raise StillairError(f"A note has at most {LONGEST} signs; this one has {len(text)}.")
    before = _superseded(session, car, one, decision.supersedes)
    note = DecisionNote(
        car=car, day_id=day.day_id, result_id=day.result_id, set_id=day.sources[one.setup].set_id, setup=one.setup,
        quantity=one.quantity, against=one.against or "", verdict=one.verdict, told=told, stance=decision.stance,
        text=text, supersedes_id=before.id if before else None, who=who,
    )  # fmt: skip
    session.add(note)
    session.flush()
    session.refresh(note)
    after = {"row": told_row(note)}  # type: ignore[arg-type]
    was = {"note": before.id, "stance": before.stance, "text": before.text} if before else None
    subject = f"{one.quantity} of {one.setup}" + (f" against {one.against}" if one.against else "")
    record(session, who=who, kind=DECIDED, day_id=day.day_id, subject=subject, before=was, after=after, reason=text)
    return note


def _superseded(session: Session, car: str, one: Correlated, number: int | None) -> DecisionNote | None:
    """The note that a new one takes the place of: the one named, of the same verdict's place."""
    if number is None:
        return None
    found = session.get(DecisionNote, number)
    if found is None or found.car != car:
        raise NotFoundError(f"There is no decision number {number} on this car.")
    if (found.setup, found.quantity, found.against) != (one.setup, one.quantity, one.against or ""):
        raise StillairError("That decision is about another verdict.")
    if session.scalar(select(DecisionNote.id).where(DecisionNote.supersedes_id == number)) is not None:
        raise StillairError("Somebody decided on this verdict meanwhile; read that first.")
    return found


def notes_of(session: Session, car: str) -> list[DecisionNote]:
    """All decisions of a car, the newest first."""
    return list(session.scalars(select(DecisionNote).where(DecisionNote.car == car).order_by(DecisionNote.id.desc())))


def standing(notes: Sequence[DecisionNote]) -> list[DecisionNote]:
    """Those that no later one supersedes."""
    gone = {note.supersedes_id for note in notes}
    return [note for note in notes if note.id not in gone]


def open_notes(session: Session, car: str | None = None) -> list[DecisionNote]:
    """Doubts that nobody has settled, of one car or of all, the newest first."""
    chosen = select(DecisionNote).order_by(DecisionNote.id.desc())
    every = list(session.scalars(chosen if car is None else chosen.where(DecisionNote.car == car)))
    return [note for note in standing(every) if note.stance == "doubted"]
