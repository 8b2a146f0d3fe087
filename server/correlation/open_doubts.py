"""Doubts about verdicts that nobody has settled, for the page of a season."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from sqlalchemy.orm import Session

from server.correlation.notes import open_notes
from server.correlation.view import about_words


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is doubted, why, by whom and since when; query: of the verdict's address."""

    about: str
    text: str
    who: str
    since: str
    query: str


def open_doubts(session: Session, car: str | None = None) -> tuple[Doubt, ...]:
    """Of one car or of all, the newest first."""
    return tuple(
        Doubt(
            about_words(note.setup, note.quantity, note.against) + (f", {note.car}" if note.car else ""),
            note.text,
            note.who,
            f"{note.at:%Y-%m-%d}",
            urlencode(
                {"car": note.car, "days": str(note.day_id), "setup": note.setup, "quantity": note.quantity}
                | ({"against": note.against} if note.against else {})
            ),
        )
        for note in open_notes(session, car)
    )
