"""The pinned packages: run.txt is what the product needs, tests.txt what its checks need besides.

Names and versions only. Standard library only, since it is read before anything is installed.
"""

from __future__ import annotations

import hashlib
import sys
from importlib import metadata
from pathlib import Path

FOLDER = Path(__file__).resolve().parent
FILES = {"run": ("run.txt",), "tests": ("run.txt", "tests.txt")}


def files(level: str) -> tuple[Path, ...]:
    """The pin files of a level, 'run' or 'tests'."""
    return tuple(FOLDER / name for name in FILES[level])


def read(level: str) -> dict[str, str]:
    """Package name → version, for this platform."""
    pins: dict[str, str] = {}
    for file in files(level):
        for line in file.read_text("utf-8").split("\n"):
            requirement, _, marker = line.partition(";")
            name, _, version = requirement.strip().partition("==")
            if name and _applies(marker.strip()):
                pins[name] = version
    return pins


def digest(level: str) -> str:
    """A hash that changes when any pin of the level does."""
    return hashlib.sha256(b"".join(file.read_bytes() for file in files(level))).hexdigest()


def satisfied(level: str) -> bool:
    """True when this interpreter has every package of the level at its pinned version."""
    for name, version in read(level).items():
        try:
            if metadata.version(name) != version:
                return False
        except metadata.PackageNotFoundError:
            return False
    return True


def _applies(marker: str) -> bool:
    """The only marker in use names one platform."""
    return not marker or marker == f'sys_platform == "{sys.platform}"'
