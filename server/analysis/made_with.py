"""What a fit was made with: this program's code room by room, the packages that it computes with, the processor.

Kept in every result, so that years later it can be said what differs between then and now.
"""

from __future__ import annotations

import hashlib
import platform
import time
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np

import server

PROGRAM = "Stillair"
CODE = "code of "
ROOMS = ("aero", "inference", "testday", "readers", "analysis")  # all that a fit is computed by
PACKAGES = (
    *("numpy", "scipy", "numba", "llvmlite", "pandas", "pint"),
    *("pyarrow", "asammdf", "python-can", "cantools", "openpyxl"),
)
DIGITS = 16


@cache
def made_with() -> dict[str, str]:
    """Name → version; of code, the first digits of the SHA-256 over its files."""
    return {
        PROGRAM: server.__version__,
        **{f"{CODE}{room}": code_sha256(Path(server.__file__).parent / room)[:DIGITS] for room in ROOMS},
        "Python": platform.python_version(),
        **{name: found for name in PACKAGES if (found := _version(name))},
        "linear algebra": _linear_algebra(),
        "processor": _processor(),
        "time zone of the computer": "/".join(time.tzname),
    }


def code_sha256(folder: Path) -> str:
    """One hash for the code of a room: its paths and its lines, however a system ends them."""
    seal = hashlib.sha256()
    for file in sorted(folder.rglob("*.py"), key=lambda one: one.relative_to(folder).as_posix()):
        lines = file.read_bytes().replace(b"\r\n", b"\n")
        seal.update(f"{hashlib.sha256(lines).hexdigest()} {file.relative_to(folder).as_posix()}\n".encode())
    return seal.hexdigest()


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return ""


def _linear_algebra() -> str:
    """Sums of products are rounded as the library orders them, and that goes by the processor."""
    told = np.show_config(mode="dicts")["Build Dependencies"]["blas"]
    return f"{told['name']} {told['version']}"


def _processor() -> str:
    found = np.show_config(mode="dicts")["SIMD Extensions"].get("found", [])
    return ", ".join([platform.machine(), *found])
