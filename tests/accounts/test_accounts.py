"""Accounts, invitations, devices, tokens: what is kept, what opens, what ends."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import select, text, update
from sqlalchemy.orm import Session

from server.accounts import signing_in
from server.accounts.codes import LETTERS, make_code, make_mark, plain, sha256_of_mark
from server.accounts.passwords import hashed, is_right, unfit
from server.accounts.roles import ANYBODY, ROLES, may
from server.accounts.service import (
    accept,
    all_accounts,
    has_owner,
    invite,
    invite_first_owner,
    open_invitations,
    set_closed,
    set_password,
    set_role,
    withdraw,
)
from server.accounts.tables import Account, Invitation, ProgramToken, SignIn
from server.accounts.throttle import MOST_KEYS, Throttle
from server.archive.database import Base, Database, now_utc
from server.archive.place import database_of
from server.archive.tables import Event
from server.errors import NotFoundError, StillairError
from server.history.verify_accounts import account_faults
from server.history.verify_events import Told

GOOD = "nine wet cones"


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    made = database_of(tmp_path)
    made.migrate()
    yield made
    made.close()


@pytest.fixture
def session(database: Database) -> Iterator[Session]:
    with database.writing() as opened:
        yield opened


def made(session: Session, role: str, name: str) -> Account:
    return accept(session, invite(session, role).code, name, GOOD, GOOD)


def kinds(session: Session) -> list[str]:
    return list(session.scalars(select(Event.kind).order_by(Event.id)))


def test_an_invitation_makes_one_account_once(session: Session) -> None:
    code = invite(session, "lead", by="Ana", note="for Bo").code
    account = accept(session, f" {code.lower().replace('-', ' ')}", "  Bo   Ek ", GOOD, GOOD)
    assert (account.name, account.role, account.name_key) == ("Bo Ek", "lead", "bo ek")
    assert account.password_hash.startswith("$argon2id$")
    with pytest.raises(StillairError, match="opens nothing"):
        accept(session, code, "Another", GOOD, GOOD)
    assert kinds(session) == ["invitation-made", "account-made"]
    assert not open_invitations(session)


def test_a_refused_password_leaves_the_code_usable(session: Session) -> None:
    code = invite(session, "engineer").code
    with pytest.raises(StillairError, match="at least 12"):
        accept(session, code, "Bo", "short", "short")
    assert accept(session, code, "Bo", GOOD, GOOD).role == "engineer"


def test_an_old_or_withdrawn_code_opens_nothing(session: Session) -> None:
    old, back = invite(session, "engineer"), invite(session, "engineer")
    session.execute(update(Invitation).where(Invitation.id == old.id).values(ends_at=now_utc()))
    withdraw(session, back.id, by="Ana")
    for one in (old, back):
        with pytest.raises(StillairError, match="opens nothing"):
            accept(session, one.code, "Bo", GOOD, GOOD)
    with pytest.raises(NotFoundError):
        withdraw(session, back.id, by="Ana")


def test_only_the_newest_console_makes_the_first_owner(session: Session) -> None:
    first, second = invite_first_owner(session), invite_first_owner(session)
    assert not has_owner(session)
    with pytest.raises(StillairError):
        accept(session, first.code, "Ana", GOOD, GOOD)
    accept(session, second.code, "Ana", GOOD, GOOD)
    assert has_owner(session)


@pytest.mark.parametrize("name", ["ana silva", "ANA  SILVA", " Ana Silva\u200b"])
def test_a_name_is_one_persons(session: Session, name: str) -> None:
    made(session, "owner", "Ana Silva")
    with pytest.raises(StillairError, match="goes by that name"):
        made(session, "advisor", name)


@pytest.mark.parametrize("name", ["", "   ", "\u200b", "Stillair", "STILLAIR", "Somebody at this Screen"])
def test_a_name_says_somebody(session: Session, name: str) -> None:
    with pytest.raises(StillairError, match="Say your name"):
        made(session, "advisor", name)


def test_one_owner_stays(session: Session) -> None:
    ana = made(session, "owner", "Ana")
    for work in (lambda: set_role(session, ana, "lead", by="Ana"), lambda: set_closed(session, ana, True, by="Ana")):
        with pytest.raises(StillairError, match="One owner must stay"):
            work()
    made(session, "owner", "Bo")
    set_closed(session, ana, True, by="Bo", reason="graduated")
    assert [one.name for one in all_accounts(session)] == ["Bo", "Ana"]


@pytest.mark.usefixtures("engine")
def test_what_changes_an_account_ends_its_devices_and_programs(session: Session) -> None:
    made(session, "owner", "Ana")
    bo = made(session, "lead", "Bo")
    for change in (
        lambda: set_role(session, bo, "engineer" if bo.role == "lead" else "lead", by="Ana"),
        lambda: set_password(session, bo, "other wet cones", "other wet cones", by="Bo"),
        lambda: set_closed(session, bo, True, by="Ana"),
    ):
        mark = signing_in.sign_in(session, bo, "tablet")
        visitor = signing_in.visitor_of_mark(session, mark)
        assert visitor is not None
        token = signing_in.make_token(session, visitor, "log sender", "engineer")
        assert signing_in.visitor_of_token(session, token) is not None
        change()
        session.flush()
        assert signing_in.visitor_of_mark(session, mark) is None
        assert signing_in.visitor_of_token(session, token) is None


def test_a_closed_account_signs_in_no_more(session: Session) -> None:
    made(session, "owner", "Ana")
    bo = made(session, "lead", "Bo")
    assert signing_in.check_password(session, "BO", GOOD) is bo
    set_closed(session, bo, True, by="Ana")
    for name, password in (("Bo", GOOD), ("Bo", "x"), ("Ana", "x"), ("nobody", GOOD), ("", "")):
        with pytest.raises(StillairError, match="do not belong together"):
            signing_in.check_password(session, name, password)


@pytest.mark.usefixtures("engine")
def test_a_mark_is_changed_once_a_day_and_the_old_one_passes_a_minute(session: Session) -> None:
    bo = made(session, "owner", "Bo")
    old = signing_in.sign_in(session, bo, "tablet")
    key = sha256_of_mark(old)
    assert not signing_in.wants_new_mark(session, key)
    yesterday = now_utc() - dt.timedelta(days=1, seconds=1)
    session.execute(update(SignIn).where(SignIn.key_sha256 == key).values(marked_at=yesterday, began_at=yesterday))
    assert signing_in.wants_new_mark(session, key)
    new = signing_in.change_mark(session, key)
    assert new is not None
    assert signing_in.change_mark(session, key) is None  # another request of the same moment
    assert signing_in.visitor_of_mark(session, old) is not None
    assert signing_in.visitor_of_mark(session, new) is not None
    assert [row.key_sha256 for row in signing_in.devices_of(session, bo.id)] == [sha256_of_mark(new)]
    assert signing_in.devices_of(session, bo.id)[0].began_at == yesterday
    assert session.get_one(SignIn, key).ends_at < now_utc() + dt.timedelta(minutes=2)


def test_a_device_signs_in_anew_after_thirty_days(session: Session) -> None:
    bo = made(session, "owner", "Bo")
    mark = signing_in.sign_in(session, bo, "tablet")
    row = session.get_one(SignIn, sha256_of_mark(mark))
    assert dt.timedelta(days=29) < row.ends_at - now_utc() <= dt.timedelta(days=30)
    row.ends_at = now_utc()
    session.flush()
    assert signing_in.visitor_of_mark(session, mark) is None


def test_signing_others_out_leaves_this_device(session: Session) -> None:
    bo = made(session, "owner", "Bo")
    here, there = signing_in.sign_in(session, bo, "here"), signing_in.sign_in(session, bo, "there")
    assert signing_in.sign_out_others(session, bo.id, sha256_of_mark(here)) == 1
    assert signing_in.visitor_of_mark(session, here) is not None
    assert signing_in.visitor_of_mark(session, there) is None


def test_a_token_may_at_most_what_its_account_may(session: Session) -> None:
    made(session, "owner", "Ana")
    bo = made(session, "engineer", "Bo")
    me = signing_in.Visitor("Bo", "engineer", bo.id, "key")
    with pytest.raises(StillairError, match="at most what you may"):
        signing_in.make_token(session, me, "sender", "lead")
    token = signing_in.make_token(session, me, "sender", "engineer")
    assert signing_in.visitor_of_token(session, token) == signing_in.Visitor("Bo", "engineer", bo.id)
    bo.role = "advisor"
    session.flush()
    assert signing_in.visitor_of_token(session, token) == signing_in.Visitor("Bo", "advisor", bo.id)
    row = session.scalars(select(ProgramToken)).one()
    other = signing_in.Visitor("Ana", "owner", 1, "key")
    with pytest.raises(NotFoundError):
        signing_in.end_token(session, other, row.id)
    signing_in.end_token(session, me, row.id)
    assert signing_in.visitor_of_token(session, token) is None


@pytest.mark.usefixtures("engine")
def test_no_secret_is_kept(database: Database, tmp_path: Path) -> None:
    with database.writing() as session:
        code = invite(session, "owner").code
        bo = accept(session, code, "Bo", GOOD, GOOD)
        mark = signing_in.sign_in(session, bo, "tablet")
        token = signing_in.make_token(session, signing_in.Visitor("Bo", "owner", bo.id, "k"), "sender", "lead")
    with database.reading() as session:
        rows = [str(session.execute(select(table)).all()).encode() for table in Base.metadata.sorted_tables]
    database.close()
    kept = b"".join([*rows, *(file.read_bytes() for file in tmp_path.iterdir())])
    assert b"signed-in" in kept
    assert not [secret for secret in (code, plain(code), mark, token, GOOD) if secret.encode() in kept]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("UPDATE accounts SET role = 'owner' WHERE id = 2", "its role is not what the history says"),
        ("UPDATE accounts SET password_hash = (SELECT password_hash FROM accounts WHERE id = 1) WHERE id = 2",
         "its password is not"),
        ("UPDATE accounts SET name = 'Al' WHERE id = 2", "its name and its name as it is compared"),
        ("UPDATE accounts SET closed_at = '2026-01-01 00:00:00.000000' WHERE id = 2", "being closed"),
        ("DELETE FROM accounts WHERE id = 2", "tells of account 2, which is not there"),
        ("UPDATE accounts SET id = 3 WHERE id = 2", "no event tells of it"),
    ],
)  # fmt: skip
def test_an_altered_account_is_found(session: Session, change: str, said: str) -> None:
    made(session, "owner", "Ana")
    bo = made(session, "engineer", "Bo")
    set_role(session, bo, "lead", by="Ana")
    session.flush()
    assert not list(account_faults(session, Told.read(session)))
    session.execute(text(change))
    session.expire_all()
    assert any(said in fault for fault in account_faults(session, Told.read(session)))


def test_each_role_may_what_the_ones_before_it_may() -> None:
    assert [[may(role, needed) for needed in ROLES] for role in ROLES] == [
        [True, False, False, False], [True, True, False, False], [True, True, True, False], [True] * 4,
    ]  # fmt: skip
    assert may("", ANYBODY)
    assert not may("", "advisor")
    assert not may("root", "advisor")


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("nine wet cones", ""),
        ("ñandú über straße", ""),
        ("p" * 200, "tried first"),
        ("p w" + "x" * 198, "at most 200"),
        ("elevenchars", "at least 12"),
        ("passwordpassword", "tried first"),
        ("password12345678", "tried first"),
        ("1234567890123456", "tried first"),
        ("123456789012", "tried first"),
        ("qwertyqwerty", "tried first"),
        ("Unchanged Bo Ek 2026", "the name of its account"),
    ],
)
def test_passwords_that_are_taken(password: str, why: str) -> None:
    said = unfit(password, password, "Bo Ek")
    assert (why in said) if why else not said
    assert "differ" in unfit(password, f"{password} ", "Bo Ek")


def test_a_password_is_right_or_not() -> None:
    kept = hashed(GOOD)
    assert kept != hashed(GOOD)
    assert is_right(GOOD, kept)
    assert not is_right(f"{GOOD} ", kept)
    assert not is_right(GOOD, "")
    assert not is_right("nobody has this one", "")


def test_codes_and_marks() -> None:
    codes = {make_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(re.fullmatch(f"([{LETTERS}]{{4}}-){{2}}[{LETTERS}]{{4}}", code) for code in codes)
    assert not set("01IOL5SB8Z2UV") & set(LETTERS)
    assert len(LETTERS) ** 12 > 2**54
    assert len(make_mark()) == 43  # 32 bytes in base64url without padding, RFC 4648
    # FIPS 180-4's example of one block
    assert sha256_of_mark("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


class Time:
    def __init__(self) -> None:
        self.now = 1_000_000.0

    def __call__(self) -> float:
        return self.now


def test_pauses_grow_for_a_key_and_are_forgiven() -> None:
    clock = Time()
    throttle = Throttle(clock)
    pauses = []
    for _ in range(14):
        wait = throttle.begin("a")
        pauses.append(wait)
        clock.now += wait
        if wait:
            assert throttle.begin("a") == 0
    assert pauses == [0, 0, 0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300]
    assert throttle.begin("b") == 0
    clock.now += 901
    assert throttle.begin("a") == 0


def test_what_was_right_costs_nothing() -> None:
    throttle = Throttle(Time())
    for _ in range(100):
        assert throttle.begin("a", "b") == 0
        throttle.was_right("a", "b")


def test_pauses_hold_for_all_when_many_guess() -> None:
    clock = Time()
    throttle = Throttle(clock)
    pauses = []
    for number in range(27):
        wait = throttle.begin(f"a{number}")
        pauses.append(wait)
        clock.now += wait
        if wait:
            throttle.begin(f"a{number}")
    assert pauses[:20] == [0] * 20
    assert pauses[20:26] == [1, 2, 4, 8, 16, 30]


def test_no_more_keys_are_remembered_than_there_is_room_for() -> None:
    clock = Time()
    throttle = Throttle(clock)
    for number in range(MOST_KEYS + 100):
        throttle.begin(f"a{number}")
        clock.now += 31
    assert len(throttle._of_each) == MOST_KEYS
