"""Accounts held against what the events say of them: a role or a password that nobody gave is found."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.accounts.service import name_key, told
from server.accounts.tables import Account
from server.history.verify_events import Told, after_of

WORDS = {"name": "name", "role": "role", "closed": "being closed", "password": "password"}


def account_faults(session: Session, events: Told) -> Iterator[str]:
    """Accounts that are not as the newest event about them says, or that no event made."""
    newest: dict[object, dict[str, object]] = {}
    for event in events.events:
        if event.kind.startswith("account-"):
            after = after_of(event)
            newest[after.get("account")] = after
    rows = {row.id: row for row in session.scalars(select(Account).order_by(Account.id))}
    for number, row in rows.items():
        said, named = newest.pop(number, None), f"Account {number} ({row.name})"
        if said is None:
            yield f"{named}: no event tells of it."
            continue
        is_so = told(row)
        wrong = [words for key, words in WORDS.items() if said.get(key) != is_so[key]]
        if row.name_key != name_key(row.name):
            wrong.append("name as it is compared")
        if wrong:
            yield f"{named}: its {' and its '.join(wrong)} is not what the history says."
    for number in newest:
        yield f"The chain of events: an event tells of account {number}, which is not there."
