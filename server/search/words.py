"""What is looked for: words that all must occur, upper and lower case alike."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, or_
from sqlalchemy.orm import InstrumentedAttribute

from server.archive.text_sql import holds

MOST_WORDS = 12
LEAST_HASH_SIGNS = 6
HASH = re.compile(rf"[0-9a-f]{{{LEAST_HASH_SIGNS},64}}")


@dataclass(frozen=True, slots=True)
class Words:
    """The words, folded to one case."""

    all: tuple[str, ...]

    def in_text(self, *parts: object) -> bool:
        """Whether every word occurs in some of the parts."""
        text = "\n".join(str(part) for part in parts if part).casefold()
        return all(word in text for word in self.all)

    def in_columns(self, *columns: InstrumentedAttribute[Any]) -> ColumnElement[bool]:
        """The same as SQL. Databases fold the case of plain letters only."""
        return and_(*(or_(*(holds(column, word) for column in columns)) for word in self.all))

    @property
    def hash_start(self) -> str | None:
        """The first signs of a SHA-256, where the one word can be that."""
        return self.all[0] if len(self.all) == 1 and HASH.fullmatch(self.all[0]) else None


def words_of(text: str) -> Words:
    """The words of what was typed."""
    return Words(tuple(text.casefold().split()[:MOST_WORDS]))


def excerpt(text: str, words: Words, most: int = 160) -> str:
    """A piece of a text about its first word that was looked for."""
    flat = " ".join(text.split())
    places = [place for word in words.all if (place := flat.casefold().find(word)) >= 0]
    start = max(0, min(places, default=0) - most // 4)
    piece = flat[start : start + most]
    return f"{'… ' if start else ''}{piece}{' …' if start + most < len(flat) else ''}"


