"""What the samples' rows are read and written through, in a SQLite file and on a server alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from typing import Any, Protocol


class Found(Protocol):
    """The rows that a statement gave."""

    def fetchone(self) -> Any:
        """The next row; None where there is none."""

    def fetchall(self) -> Sequence[Any]:
        """The rows that are left."""

    def __iter__(self) -> Iterator[Any]: ...


class Rows(Protocol):
    """An open transaction. A question mark in a statement stands for a value."""

    def execute(self, sql: str, parameters: Any = ..., /) -> Found:
        """Run a statement."""

    def executemany(self, sql: str, parameters: Iterable[Any], /) -> object:
        """Run a statement once for each row of values."""


class SamplesPlace(Protocol):
    """Where samples are kept."""

    def exists(self) -> bool:
        """Whether anything was ever kept."""

    def reading(self) -> AbstractContextManager[Rows]:
        """A transaction that sees one moment, whoever writes meanwhile."""

    def writing(self) -> AbstractContextManager[Rows]:
        """A transaction of the one writer; all is committed at the end, or nothing when anything is raised."""

    def own_faults(self, rows: Rows) -> Iterator[str]:
        """What the database finds amiss in itself, a sentence each."""

    def close(self) -> None:
        """Give it back."""
