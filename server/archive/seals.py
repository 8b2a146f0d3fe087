"""Seals: triggers by which the database itself refuses that rows of a table are altered or taken out."""

from __future__ import annotations

from collections.abc import Iterator

FUNCTION = "stillair_never_altered"
BODY = """
BEGIN
    RAISE EXCEPTION 'what stands in % is never altered', TG_TABLE_NAME
        USING ERRCODE = 'integrity_constraint_violation';
END
"""
VERBS = ("update", "delete")


def seal_statements(dialect: str, table: str, columns: str = "") -> Iterator[str]:
    """The statements that seal a table. columns: " OF a, b" where an update of the others is let through."""
    if dialect == "postgresql":
        yield f"CREATE OR REPLACE FUNCTION {FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $body${BODY}$body$"
        for verb, scope in (("UPDATE", columns), ("DELETE", "")):
            yield _trigger(table, f"{verb}{scope}", verb, "ROW")
        yield _trigger(table, "TRUNCATE", "TRUNCATE", "STATEMENT")
        return
    for verb, scope in (("UPDATE", columns), ("DELETE", "")):
        yield (
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb}{scope} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, 'what stands in {table} is never altered'); END"
        )


def _trigger(table: str, event: str, verb: str, each: str) -> str:
    name = f"{table}_no_{verb.lower()}"
    return f"CREATE TRIGGER {name} BEFORE {event} ON {table} FOR EACH {each} EXECUTE FUNCTION {FUNCTION}()"
