"""What a database can say of itself: is it sound, do its rows name rows that are there, are its seals in force."""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Table, exists, select, text
from sqlalchemy.orm import Session

from server.archive.database import Base
from server.archive.seals import BODY, FUNCTION

SQLITE_SEALS = "SELECT name FROM sqlite_master WHERE type = 'trigger'"
# in force: not switched off, and with a body that refuses
POSTGRES_SEALS = """
SELECT tgname FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid JOIN pg_class ON pg_class.oid = tgrelid
WHERE NOT tgisinternal AND tgenabled IN ('O', 'A') AND proname = :function AND prosrc = :body
AND relnamespace = current_schema()::regnamespace AND tgname LIKE replace(relname, '_', '\\_') || '\\_no\\_%'
"""
BROKEN_INDEXES = "SELECT indexrelid::regclass FROM pg_index WHERE NOT indisvalid AND indrelid > 16383"


def own_faults(session: Session) -> Iterator[str]:
    """A sentence for each thing that the database finds amiss in itself."""
    if session.get_bind().dialect.name == "sqlite":
        yield from _of_sqlite(session)
        return
    for (index,) in session.execute(text(BROKEN_INDEXES)):
        yield f"The database: the index {index} is broken."
    for table in Base.metadata.sorted_tables:
        yield from _lost(session, table)


def seals_in_force(session: Session) -> set[str]:
    """Names of the seals that refuse changes."""
    if session.get_bind().dialect.name == "sqlite":
        return set(session.scalars(text(SQLITE_SEALS)))
    return set(session.scalars(text(POSTGRES_SEALS), {"function": FUNCTION, "body": BODY}))


def _of_sqlite(session: Session) -> Iterator[str]:
    for (said,) in session.execute(text("PRAGMA integrity_check")):
        if said != "ok":
            yield f"The database: {said}."
    for table, row, other, _ in session.execute(text("PRAGMA foreign_key_check")):
        yield f"The database: row {row} of {table} names a row of {other} that is not there."


def _lost(session: Session, table: Table) -> Iterator[str]:
    """Rows of a table that name rows of another that are not there: of a database whose keys were switched off."""
    key = next(iter(table.primary_key.columns))
    for reference in table.foreign_keys:
        other = reference.column.table.alias("other")
        here = exists().where(other.c[reference.column.name] == reference.parent)
        for (row,) in session.execute(select(key).where(reference.parent.is_not(None), ~here)):
            named = reference.column.table.name
            yield f"The database: row {row} of {table.name} names a row of {named} that is not there."
