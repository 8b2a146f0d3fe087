"""By how much a car's predictions may be off: kept per car, every change an event."""

from __future__ import annotations

from dataclasses import asdict

from sqlalchemy.orm import Session

from server.analysis.correlated import Margins
from server.archive.database import now_utc
from server.archive.events import record
from server.correlation.tables import CorrelationMargins
from server.errors import StillairError

CHANGED = "margins-changed"
BOUNDS = {"total": (0.001, 0.5), "change": (0.001, 2.0), "numerical_correlation": (0.0, 0.99)}
WORDS = {
    "total": "The margin of totals is a share between 0.1 and 50 %.",
    "change": "The margin of changes is a share between 0.1 and 200 %.",
    "numerical_correlation": "The correlation of numerical errors lies between 0 and 0.99.",
}


def margins_of(session: Session, car: str) -> Margins:
    """A car's margins; the usual ones where nobody said."""
    kept = session.get(CorrelationMargins, car)
    return Margins() if kept is None else Margins(kept.total, kept.change, kept.numerical_correlation)


def keep_margins(session: Session, car: str, margins: Margins, *, who: str, reason: str) -> None:
    """Keep a car's margins. Raises StillairError for a number out of its bounds, or where nothing would change."""
    for name, (low, high) in BOUNDS.items():
        if not low <= getattr(margins, name) <= high:
            raise StillairError(WORDS[name])
    before = margins_of(session, car)
    if before == margins:
        raise StillairError("Nothing would change by that.")
    kept = session.get(CorrelationMargins, car) or CorrelationMargins(car=car)
    kept.total, kept.change, kept.numerical_correlation = margins.total, margins.change, margins.numerical_correlation
    kept.who, kept.at = who, now_utc()
    session.add(kept)
    session.flush()
    record(session, who=who, kind=CHANGED, subject=f"margins of {car}", before=asdict(before), after=asdict(margins),
           reason=reason)  # fmt: skip
