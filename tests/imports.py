"""Which modules a Python file imports, read from its syntax tree."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SERVER = ROOT / "server"


def python_files(folder: Path) -> list[Path]:
    """The Python files under a folder, or the file itself."""
    return [folder] if folder.is_file() else sorted(folder.rglob("*.py"))


def imported(file: Path) -> Iterator[tuple[str, int]]:
    """Full name and line of each import; `from server.a import b` gives server.a.b for a module b."""
    for node in ast.walk(ast.parse(file.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node.lineno) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{file}:{node.lineno}: imports are written from the top"
            base = node.module or ""
            yield from ((_module(base, alias.name), node.lineno) for alias in node.names)


def outside(file: Path) -> Iterator[tuple[str, int]]:
    """What a file imports from other than the standard library."""
    for name, line in imported(file):
        if name.partition(".")[0] not in sys.stdlib_module_names:
            yield name, line


def _module(base: str, name: str) -> str:
    """`base.name` when that is a module of ours, else `base`."""
    candidate = ROOT.joinpath(*base.split("."), name)
    return f"{base}.{name}" if candidate.is_dir() or candidate.with_suffix(".py").is_file() else base
