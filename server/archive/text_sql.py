"""Words in texts, looked for by the database itself: plain letters of both cases alike, with SQLite and PostgreSQL."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Boolean, ColumnElement, literal
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.orm import InstrumentedAttribute
from sqlalchemy.sql.functions import FunctionElement

_ESCAPE = "/"


class _Holds(FunctionElement[bool]):
    """Whether a text holds a word: the column, the pattern."""

    name = "holds"
    type = Boolean()
    inherit_cache = True


def holds(column: ColumnElement[Any] | InstrumentedAttribute[Any], word: str) -> _Holds:
    """Whether a column's text holds the word; a sign of LIKE is looked for as itself. NULL where there is no text."""
    for sign in (_ESCAPE, "%", "_"):
        word = word.replace(sign, _ESCAPE + sign)
    return _Holds(column, literal(f"%{word}%"))


@compiles(_Holds)
def _in_sqlite(element: _Holds, compiler: Any, **more: Any) -> str:
    """LIKE takes both cases there already; folding a text of thousands of signs first takes thrice as long."""
    return _compared("LIKE", element, compiler, more)


@compiles(_Holds, "postgresql")
def _in_postgres(element: _Holds, compiler: Any, **more: Any) -> str:
    return _compared("ILIKE", element, compiler, more)


def _compared(operator: str, element: _Holds, compiler: Any, more: dict[str, Any]) -> str:
    column, pattern = (compiler.process(clause, **more) for clause in element.clauses)
    return f"({column} {operator} {pattern} ESCAPE '{_ESCAPE}')"
