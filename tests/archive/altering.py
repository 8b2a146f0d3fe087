"""What somebody with the database in hand can do to it, past the program, in a file or on a server."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

import psycopg


def alter(folder: Path, *statements: str) -> None:
    """Take the seals off, alter, put them on again."""
    if address := os.environ.get("STILLAIR_DATABASE"):
        alter_server(address, *statements)
        return
    with closing(sqlite3.connect(folder / "archive.sqlite3")) as connection:
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in triggers:
            connection.execute(sql)
        connection.commit()


def alter_server(address: str, *statements: str) -> None:
    """The same on a server, by who may do anything there: neither seals nor keys are looked at meanwhile."""
    with psycopg.connect(address.replace("+psycopg", "")) as connection:
        connection.execute("SET session_replication_role = replica")
        for statement in statements:
            connection.execute(statement)
