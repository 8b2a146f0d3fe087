"""Accounts: made by invitation, given a role, closed; every such change is an event."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from server.accounts import passwords
from server.accounts.codes import make_code, sha256_of_code
from server.accounts.roles import OWNER, ROLES, WORDS
from server.accounts.tables import Account, Invitation, ProgramToken, SignIn
from server.archive.database import now_utc
from server.archive.events import PROGRAM, record
from server.errors import NotFoundError, StillairError
from server.people import NOBODY, clean

CODE_LASTS = dt.timedelta(days=2)
NO_CODE = "That code opens nothing: it was used, was taken back, is older than two days, or has a letter wrong."
NO_NAME = "Say your name: it stands beside everything that you change."
NAME_TAKEN = "Somebody goes by that name already; add your family name."
LAST_OWNER = "One owner must stay; make another first."
NO_ACCOUNT = "No account goes by that number."
NO_INVITATION = "No invitation that waits goes by that number."
NO_ROLE = "A role is one of advisor, engineer, lead and owner."


@dataclass(frozen=True, slots=True)
class Invited:
    """An invitation just made: its code is shown once and kept as a hash alone."""

    id: int
    code: str
    role: str
    ends_at: dt.datetime


def name_key(name: str) -> str:
    """A name as it is compared."""
    return clean(name).casefold()


def seen_password(kept: str) -> str:
    """What an event tells of a password's hash, so that another put in its place is found."""
    return hashlib.sha256(kept.encode()).hexdigest()


def told(account: Account) -> dict[str, object]:
    """What an event tells of an account."""
    return {
        "account": account.id,
        "name": account.name,
        "role": account.role,
        "closed": account.closed_at is not None,
        "password": seen_password(account.password_hash),
    }


def has_owner(session: Session) -> bool:
    """Whether somebody can say who has an account."""
    owners = select(func.count(Account.id)).where(Account.role == OWNER, Account.closed_at.is_(None))
    return bool(session.scalar(owners))


def find_account(session: Session, account_id: int) -> Account:
    """The account of a number. Raises NotFoundError."""
    account = session.get(Account, account_id)
    if account is None:
        raise NotFoundError(NO_ACCOUNT)
    return account


def all_accounts(session: Session) -> Sequence[Account]:
    """All accounts, the open ones first, by name."""
    return session.scalars(select(Account).order_by(Account.closed_at.is_not(None), Account.name_key)).all()


def open_invitations(session: Session) -> Sequence[Invitation]:
    """Those that can still be used, the newest first."""
    waiting = select(Invitation).where(Invitation.used_at.is_(None), Invitation.ends_at > now_utc())
    return session.scalars(waiting.order_by(Invitation.id.desc())).all()


def invite(
    session: Session, role: str, *, by: str = PROGRAM, note: str = "", account: Account | None = None
) -> Invited:
    """Make a code: for a new account of this role, or for a new password of `account`."""
    if role not in ROLES:
        raise StillairError(NO_ROLE)
    code, ends_at = make_code(), now_utc() + CODE_LASTS
    row = Invitation(
        code_sha256=sha256_of_code(code),
        role=role,
        account_id=account.id if account else None,
        note=clean(note),
        made_by=by,
        ends_at=ends_at,
    )
    session.add(row)
    session.flush()
    subject = f"a new password of {account.name}" if account else f"an account as {role}"
    after = {"invitation": row.id, "role": role, "account": row.account_id, "note": row.note}
    record(session, who=by, kind="invitation-made", subject=subject, after=after)
    return Invited(row.id, code, role, ends_at)


def invite_first_owner(session: Session) -> Invited:
    """The code for the first owner; earlier ones that nobody used end, so that only the newest console opens."""
    stale = update(Invitation).where(Invitation.made_by == PROGRAM, Invitation.used_at.is_(None))
    session.execute(stale.values(ends_at=now_utc()))
    return invite(session, OWNER, note="the first owner")


def withdraw(session: Session, invitation_id: int, *, by: str) -> None:
    """Take an invitation back. Raises NotFoundError."""
    row = session.get(Invitation, invitation_id)
    if row is None or row.used_at is not None or row.ends_at <= now_utc():
        raise NotFoundError(NO_INVITATION)
    row.ends_at = now_utc()
    record(session, who=by, kind="invitation-withdrawn", subject=row.note or row.role, before={"invitation": row.id})


def invitation_of(session: Session, code: str) -> Invitation:
    """The invitation that a code opens. Raises StillairError."""
    row = session.scalar(select(Invitation).where(Invitation.code_sha256 == sha256_of_code(code)))
    if row is None or row.used_at is not None or row.ends_at <= now_utc():
        raise StillairError(NO_CODE)
    return row


def accept(session: Session, code: str, name: str, password: str, again: str) -> Account:
    """Use a code: makes the account, or gives it a new password and ends all its devices. Raises StillairError."""
    row = invitation_of(session, code)
    if row.account_id is not None:
        account = find_account(session, row.account_id)
        set_password(session, account, password, again, by=account.name)
    else:
        account = _new_account(session, row.role, name, password, again)
    row.used_at = now_utc()
    return account


def _new_account(session: Session, role: str, name: str, password: str, again: str) -> Account:
    name = clean(name)
    if not name or name_key(name) in map(name_key, (NOBODY, PROGRAM)):
        raise StillairError(NO_NAME)
    if session.scalar(select(Account.id).where(Account.name_key == name_key(name))) is not None:
        raise StillairError(NAME_TAKEN)
    refuse_unfit(password, again, name)
    account = Account(name=name, name_key=name_key(name), role=role, password_hash=passwords.hashed(password))
    session.add(account)
    session.flush()
    record(session, who=name, kind="account-made", subject=name, after=told(account))
    return account


def refuse_unfit(password: str, again: str, name: str) -> None:
    """Raises StillairError for a password that can't be taken."""
    why = passwords.unfit(password, again, name)
    if why:
        raise StillairError(why)


def set_password(session: Session, account: Account, password: str, again: str, *, by: str) -> None:
    """Another password; every device and every program of the account must come in anew."""
    refuse_unfit(password, again, account.name)
    before = told(account)
    account.password_hash = passwords.hashed(password)
    end_all(session, account)
    record(session, who=by, kind="account-password", subject=account.name, before=before, after=told(account))


def set_role(session: Session, account: Account, role: str, *, by: str) -> None:
    """Another role; the last owner stays one."""
    if role not in ROLES:
        raise StillairError(NO_ROLE)
    if role == account.role:
        raise StillairError(f"{account.name} is {role} already.")
    _keep_an_owner(session, account)
    before = told(account)
    account.role = role
    end_all(session, account)
    record(session, who=by, kind="account-role", subject=account.name, before=before, after=told(account))


def set_closed(session: Session, account: Account, closed: bool, *, by: str, reason: str = "") -> None:
    """Close an account, or open it again; what it did stays in the history."""
    if (account.closed_at is not None) == closed:
        raise StillairError(f"The account of {account.name} is {'closed' if closed else 'open'} already.")
    if closed:
        _keep_an_owner(session, account)
        end_all(session, account)
    before = told(account)
    account.closed_at = now_utc() if closed else None
    kind = "account-closed" if closed else "account-opened"
    record(session, who=by, kind=kind, subject=account.name, before=before, after=told(account), reason=reason)


def end_all(session: Session, account: Account) -> None:
    """No device and no program comes in as this account until it signs in anew."""
    now = now_utc()
    devices = update(SignIn).where(SignIn.account_id == account.id, SignIn.ends_at > now)
    session.execute(devices.values(ends_at=now))
    programs = update(ProgramToken).where(ProgramToken.account_id == account.id, ProgramToken.ended_at.is_(None))
    session.execute(programs.values(ended_at=now))
    invitations = update(Invitation).where(Invitation.account_id == account.id, Invitation.used_at.is_(None))
    session.execute(invitations.values(ends_at=now))


def _keep_an_owner(session: Session, account: Account) -> None:
    others = select(func.count(Account.id)).where(
        Account.role == OWNER, Account.closed_at.is_(None), Account.id != account.id
    )
    if account.role == OWNER and account.closed_at is None and not session.scalar(others):
        raise StillairError(LAST_OWNER)


def role_in_words(role: str) -> str:
    """A role with what it may."""
    return f"{role}: {WORDS[role]}"
