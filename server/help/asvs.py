"""OWASP ASVS 4.0.3, level 1: what applies here, how it is met, which test shows it, from web/help/asvs.csv.

Paragraph numbers and wording in short from memory. Left out: what asks for things that are not here (mails, text
messages, single sign-on, GraphQL, XML, LDAP, cloud configuration).
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache

from server.locations import web_folder


@dataclass(frozen=True, slots=True)
class Item:
    """A requirement; `test` is file::function below tests/."""

    number: str
    asks: str
    how: str
    test: str


@cache
def items() -> tuple[Item, ...]:
    """The table."""
    with (web_folder() / "help" / "asvs.csv").open(encoding="utf-8", newline="") as stream:
        return tuple(Item(**row) for row in csv.DictReader(stream))
