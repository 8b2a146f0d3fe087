"""Accounts and what lets somebody in as one; secrets are kept as hashes alone."""

from __future__ import annotations

import datetime as dt

from sqlalchemy import CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.archive.database import Base, UtcDateTime, now_utc

ROLES = ("advisor", "engineer", "lead", "owner")


class Account(Base):
    """A person of the team; closed rather than taken away, because the history names them.

    name_key: the name as it is compared, in small letters without needless spaces.
    """

    __tablename__ = "accounts"
    __table_args__ = (CheckConstraint(f"role IN {ROLES}", name="role"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(60))
    name_key: Mapped[str] = mapped_column(String(120), unique=True)
    role: Mapped[str] = mapped_column(String(10))
    password_hash: Mapped[str] = mapped_column(String(200))
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    closed_at: Mapped[dt.datetime | None] = mapped_column(UtcDateTime)


class SignIn(Base):
    """A device on which somebody has signed in, by the SHA-256 of the mark in its cookie.

    replaced_at: when a new mark was given for this one; it ends soon after, so that requests on their way still pass.
    """

    __tablename__ = "sign_ins"

    key_sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="RESTRICT"), index=True)
    device: Mapped[str] = mapped_column(String(120), default="")
    began_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    marked_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    ends_at: Mapped[dt.datetime] = mapped_column(UtcDateTime)
    replaced_at: Mapped[dt.datetime | None] = mapped_column(UtcDateTime)


class Invitation(Base):
    """A code that makes one account, or a new password of one, once."""

    __tablename__ = "invitations"
    __table_args__ = (CheckConstraint(f"role IN {ROLES}", name="role"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    code_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    role: Mapped[str] = mapped_column(String(10))
    account_id: Mapped[int | None] = mapped_column(ForeignKey("accounts.id", ondelete="RESTRICT"))
    note: Mapped[str] = mapped_column(String(120), default="")
    made_by: Mapped[str]
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    ends_at: Mapped[dt.datetime] = mapped_column(UtcDateTime)
    used_at: Mapped[dt.datetime | None] = mapped_column(UtcDateTime)


class ProgramToken(Base):
    """What a program shows instead of a password, by its SHA-256; it may what its account may, or less."""

    __tablename__ = "program_tokens"
    __table_args__ = (CheckConstraint(f"role IN {ROLES}", name="role"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    key_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("accounts.id", ondelete="RESTRICT"), index=True)
    role: Mapped[str] = mapped_column(String(10))
    name: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[dt.datetime] = mapped_column(UtcDateTime, default=now_utc)
    ended_at: Mapped[dt.datetime | None] = mapped_column(UtcDateTime)
