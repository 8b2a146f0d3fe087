"""What must be alike on two computers for the same numbers to the last digit."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib.metadata import version
from pathlib import Path

from server.analysis.made_with import CODE, code_sha256, made_with

MAY_DIFFER = ("processor",)  # each result says which
CARRIED_BY = ("cloudpickle", "distributed")
OTHER_CODE = "other code of Stillair than this server, though it calls itself the same version"


@cache
def fingerprint() -> tuple[tuple[str, str], ...]:
    """What a fit here is made with, and what carries work from one computer to another."""
    found = {name: told for name, told in made_with().items() if name not in MAY_DIFFER}
    found |= {name: version(name) for name in CARRIED_BY}
    return (*found.items(), (f"{CODE}heavy", code_sha256(Path(__file__).resolve().parent)))


def difference(ours: Mapping[str, str], theirs: Mapping[str, str]) -> str:
    """The first thing that is not alike, in words; empty where all is."""
    for name, told in ours.items():
        if theirs.get(name) != told:
            if name.startswith(CODE):
                return OTHER_CODE
            return f"{name} {theirs.get(name, 'not at all')} where this server has {told}"
    return ""
