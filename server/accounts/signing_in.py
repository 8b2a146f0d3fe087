"""Who a request comes from: by the mark in a cookie, or by a program's token."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.accounts import passwords
from server.accounts.codes import make_mark, sha256_of_mark
from server.accounts.roles import OWNER, ROLES, may
from server.accounts.service import NO_ROLE, name_key
from server.accounts.tables import Account, ProgramToken, SignIn
from server.archive.database import now_utc
from server.archive.events import record
from server.errors import NotFoundError, StillairError
from server.people import clean

LASTS = dt.timedelta(days=30)  # OWASP ASVS 4.0.3, 3.3.1, level 1: signed in anew at least every 30 days
MARK_LASTS = dt.timedelta(days=1)  # then the cookie gets another mark
STILL_PASSES = dt.timedelta(minutes=1)  # what was sent with the old mark and is on its way
WRONG = "That name and password do not belong together."
NO_TOKEN = "No token that works goes by that number."
UNNAMED_TOKEN = "Name the program: the name tells later which token to end."
ABOVE_OWN = "A program may at most what you may."


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who a request comes from. account_id is None at this computer itself, where nobody signs in.

    sign_in: the key of the device's row; None for a program, which may not change accounts.
    """

    name: str
    role: str
    account_id: int | None = None
    sign_in: str | None = None

    def may(self, needed: str) -> bool:
        """Whether the visitor's role may do what asks for `needed`."""
        return may(self.role, needed)


def at_hand(name: str) -> Visitor:
    """Who sits at a server that listens to its own computer alone."""
    return Visitor(name, OWNER)


def check_password(session: Session, name: str, password: str) -> Account:
    """The open account of a name and its password. Raises StillairError, in the same time and words for all misses."""
    account = session.scalar(select(Account).where(Account.name_key == name_key(name)))
    is_open = account is not None and account.closed_at is None
    right = passwords.is_right(password, account.password_hash if account and is_open else "")
    if account is None or not right:
        raise StillairError(WRONG)
    return account


def sign_in(session: Session, account: Account, device: str) -> str:
    """The mark for the device's cookie."""
    mark = _marked(session, account.id, device, now_utc() + LASTS)
    record(session, who=account.name, kind="signed-in", subject=account.name, after={"device": clean(device)})
    return mark


def _marked(session: Session, account_id: int, device: str, ends_at: dt.datetime) -> str:
    mark = make_mark()
    row = SignIn(key_sha256=sha256_of_mark(mark), account_id=account_id, device=clean(device)[:120], ends_at=ends_at)
    session.add(row)
    session.flush()
    return mark


def visitor_of_mark(session: Session, mark: str) -> Visitor | None:
    """Who signed in on the device that sends this mark; None when nobody did, or no longer."""
    return _visitor(session, SignIn, mark, SignIn.ends_at > now_utc())


def visitor_of_token(session: Session, token: str) -> Visitor | None:
    """Whose program sends this token."""
    return _visitor(session, ProgramToken, token, ProgramToken.ended_at.is_(None))


def _visitor(session: Session, table: type[SignIn] | type[ProgramToken], secret: str, works: object) -> Visitor | None:
    if not secret or len(secret) > 100:
        return None
    key = sha256_of_mark(secret)
    joined = select(table, Account).join(Account, Account.id == table.account_id)
    found = session.execute(joined.where(table.key_sha256 == key, works, Account.closed_at.is_(None))).first()  # type: ignore[arg-type]
    if found is None:
        return None
    row, account = found
    if isinstance(row, ProgramToken):
        return Visitor(account.name, min(row.role, account.role, key=ROLES.index), account.id)
    return Visitor(account.name, account.role, account.id, key)


def wants_new_mark(session: Session, key: str) -> bool:
    """Whether a device's mark is old enough for another."""
    row = session.get(SignIn, key)
    return row is not None and row.replaced_at is None and row.marked_at < now_utc() - MARK_LASTS


def change_mark(session: Session, key: str) -> str | None:
    """Another mark for the same device; None when another request of it was quicker."""
    now = now_utc()
    first = update(SignIn).where(SignIn.key_sha256 == key, SignIn.replaced_at.is_(None))
    if session.execute(first.values(replaced_at=now)).rowcount != 1:  # type: ignore[attr-defined]
        return None
    row = session.get_one(SignIn, key)
    mark = _marked(session, row.account_id, row.device, row.ends_at)
    session.get_one(SignIn, sha256_of_mark(mark)).began_at = row.began_at
    row.ends_at = min(row.ends_at, now + STILL_PASSES)
    return mark


def sign_out(session: Session, key: str) -> None:
    """The device's mark opens nothing any more."""
    ended = update(SignIn).where(SignIn.key_sha256 == key, SignIn.ends_at > now_utc())
    session.execute(ended.values(ends_at=now_utc()))


def devices_of(session: Session, account_id: int) -> Sequence[SignIn]:
    """Where somebody is signed in, the newest first."""
    now = now_utc()
    open_ones = select(SignIn).where(
        SignIn.account_id == account_id, SignIn.ends_at > now, SignIn.replaced_at.is_(None)
    )
    return session.scalars(open_ones.order_by(SignIn.began_at.desc())).all()


def sign_out_others(session: Session, account_id: int, but: str | None) -> int:
    """End every device of an account except the one in hand; gives their number."""
    rows = [row for row in devices_of(session, account_id) if row.key_sha256 != but]
    for row in rows:
        row.ends_at = now_utc()
    return len(rows)


def tokens_of(session: Session, account_id: int) -> Sequence[ProgramToken]:
    """An account's tokens that work."""
    working = select(ProgramToken).where(ProgramToken.account_id == account_id, ProgramToken.ended_at.is_(None))
    return session.scalars(working.order_by(ProgramToken.id)).all()


def make_token(session: Session, visitor: Visitor, name: str, role: str) -> str:
    """A token of a program, shown once; it may at most what its account may."""
    if not clean(name):
        raise StillairError(UNNAMED_TOKEN)
    if role not in ROLES:
        raise StillairError(NO_ROLE)
    if not visitor.may(role):
        raise StillairError(ABOVE_OWN)
    token = make_mark()
    row = ProgramToken(key_sha256=sha256_of_mark(token), account_id=visitor.account_id, role=role, name=clean(name))
    session.add(row)
    session.flush()
    record(session, who=visitor.name, kind="token-made", subject=row.name, after={"token": row.id, "role": role})
    return token


def end_token(session: Session, visitor: Visitor, token_id: int) -> None:
    """A token of one's own opens nothing any more. Raises NotFoundError."""
    row = session.get(ProgramToken, token_id)
    if row is None or row.account_id != visitor.account_id or row.ended_at is not None:
        raise NotFoundError(NO_TOKEN)
    row.ended_at = now_utc()
    record(session, who=visitor.name, kind="token-ended", subject=row.name, before={"token": row.id})
