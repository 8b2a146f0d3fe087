"""What must be alike on two computers for the same numbers to the last digit."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Mapping
from functools import lru_cache
from importlib import metadata
from pathlib import Path

from server import __version__

PACKAGES = ("numpy", "scipy", "numba", "pandas", "pint", "cloudpickle", "distributed")
PARTS = ("aero", "inference", "testday", "readers", "analysis", "heavy")
CODE = "code"
OTHER_CODE = "other code of Stillair than this server, though it calls itself the same version"


@lru_cache(maxsize=1)
def fingerprint() -> tuple[tuple[str, str], ...]:
    """Versions of this process: Python, packages, Stillair, and a hash of the code that computes."""
    found = {"Stillair": __version__, "Python": "{}.{}".format(*sys.version_info[:2])}
    found |= {name: metadata.version(name) for name in PACKAGES}
    return (*found.items(), (CODE, _code()))


def difference(ours: Mapping[str, str], theirs: Mapping[str, str]) -> str:
    """The first thing that is not alike, in words; empty where all is."""
    for name, version in ours.items():
        if theirs.get(name) != version:
            if name == CODE:
                return OTHER_CODE
            return f"{name} {theirs.get(name, 'not at all')} where this server has {version}"
    return ""


def _code() -> str:
    server, digest = Path(__file__).resolve().parent.parent, hashlib.sha256()
    for file in sorted(file for part in PARTS for file in (server / part).rglob("*.py")):
        digest.update(f"{file.relative_to(server).as_posix()}\n".encode() + file.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()
