"""Parts of kept JSON read by the database itself, in SQLite's words or PostgreSQL's."""

from __future__ import annotations

from typing import Any

from sqlalchemy import BigInteger, String, literal_column
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import InstrumentedAttribute
from sqlalchemy.sql.functions import FunctionElement


class _Number(FunctionElement[int]):
    """A whole number of an object: the column, the key."""

    name = "json_number"
    type = BigInteger()
    inherit_cache = True


class _Parts(FunctionElement[str]):
    """Some parts of an object, as the text of one JSON list: the column, the keys."""

    name = "json_parts"
    type = String()
    inherit_cache = True


def json_number(column: InstrumentedAttribute[Any], key: str) -> _Number:
    """The whole number under a key of the object that a column holds; None where there is none."""
    return _Number(column, literal_column(key))


def json_parts(column: InstrumentedAttribute[Any], *keys: str) -> _Parts:
    """What stands under keys of the object that a column holds, as the text of a JSON list."""
    return _Parts(column, *map(literal_column, keys))


def _told(element: Any, compiler: Any, more: Any) -> tuple[str, list[str]]:
    column, *keys = element.clauses
    return compiler.process(column, **more), [key.name for key in keys]


@compiles(_Number)
@compiles(_Parts)
def _in_sqlite(element: Any, compiler: Any, **more: Any) -> str:
    column, keys = _told(element, compiler, more)
    paths = ", ".join(f"'$.{key}'" for key in keys)
    return f"json_extract({column}, {paths})"


@compiles(_Number, "postgresql")
def _number_in_postgres(element: Any, compiler: Any, **more: Any) -> str:
    column, [key] = _told(element, compiler, more)
    return f"CAST(CAST({column} AS json) ->> '{key}' AS bigint)"


@compiles(_Parts, "postgresql")
def _parts_in_postgres(element: Any, compiler: Any, **more: Any) -> str:
    column, keys = _told(element, compiler, more)
    parts = (f"coalesce(CAST(CAST({column} AS json) -> '{key}' AS text), 'null')" for key in keys)
    return "'[' || " + " || ',' || ".join(parts) + " || ']'"
