"""What predictions need of the cars of the archive: their names, their setups, the newest wheelbase.

Facts of days that nobody looked at before are made and kept here, so none of it is asked inside a write transaction.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import SequenceMatcher

from sqlalchemy.orm import Session

from server.archive.archive import Archive
from server.days.facts import briefs_of, newest_revisions
from server.days.revisions import newest_day
from server.days.service import list_days
from server.errors import StillairError
from server.predictions.service import cases_for_car, list_sets, matches_of, taps_for_car

ALIKE = 0.75


def car_names(archive: Archive, session: Session) -> tuple[str, ...]:
    """Every car that a day or a set names, by name; the newest day's first."""
    newest = newest_revisions(session)
    briefs = briefs_of(archive, session, newest.values())
    days = [briefs[newest[day.id]] for day in list_days(session)]
    names = [one.car for one in days if not one.problem]
    return tuple(dict.fromkeys([*names, *(one.car for one in list_sets(session))]))


def setups_of_car(archive: Archive, session: Session, car: str) -> tuple[str, ...]:
    """The setups that the car's days name, by name."""
    newest = newest_revisions(session)
    briefs = briefs_of(archive, session, newest.values()).values()
    return tuple(sorted({setup.name for one in briefs if one.car == car for setup in one.setups}))


def wheelbase_of_car(archive: Archive, session: Session, car: str) -> float | None:
    """The wheelbase [m] that the car's newest day gives; None where nobody gave one."""
    newest = newest_revisions(session)
    briefs = briefs_of(archive, session, newest.values())
    for stored in list_days(session):
        if briefs[newest[stored.id]].car != car or briefs[newest[stored.id]].problem:
            continue
        try:
            wheelbase = newest_day(archive, session, stored.id)[1].car.wheelbase_m
        except StillairError:
            continue
        if wheelbase.source != "default":
            return wheelbase.value
    return None


def names_written(archive: Archive, session: Session, car: str) -> tuple[str, ...]:
    """The setups that the car's standing sets name, as they name them."""
    found = (*cases_for_car(archive, session, car), *taps_for_car(archive, session, car))
    none = (written for written, setup in matches_of(session, car).items() if not setup)
    return tuple(dict.fromkeys([*(one.written for one in found), *none]))


def unmatched_names(archive: Archive, session: Session, car: str) -> tuple[str, ...]:
    """Those that are neither a setup of the car nor matched to one (or to none) by a person."""
    known = {*setups_of_car(archive, session, car), *matches_of(session, car)}
    return tuple(one for one in names_written(archive, session, car) if one not in known)


def check_matches(archive: Archive, session: Session, car: str, chosen: Mapping[str, str]) -> None:
    """Refuse a name that would mean a setup which the car does not have. Raises StillairError."""
    setups = setups_of_car(archive, session, car)
    for written, setup in chosen.items():
        if setup and setup not in (*setups, written):
            raise StillairError(f"“{setup[:80]}” is not a setup of the car; “{written[:80]}” cannot mean it.")


def likely_setup(written: str, setups: Iterable[str]) -> str:
    """The setup of the car that a name in predictions may mean; empty where none is like it."""
    own = list(setups)
    plain = {_plain(one): one for one in own}
    if written in own:
        return written
    if _plain(written) in plain:
        return plain[_plain(written)]
    alike = ((SequenceMatcher(None, _plain(written), one).ratio(), name) for one, name in plain.items())
    share, name = max(alike, default=(0.0, ""))
    return name if share >= ALIKE else ""


def _plain(name: str) -> str:
    words = name.casefold().replace("setup", " ").replace("config", " ")
    return "".join(sign for sign in words if sign.isalnum())
