"""The project's files, without what only lies about."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def tracked() -> list[str]:
    """Paths of the project's files: git's, or those on disk that git would keep where it isn't at hand."""
    if shutil.which("git") and (ROOT / ".git").exists():
        listing = [
            "git",
            "-c",
            "safe.directory=*",
            "ls-files",
            "-z",
            "--cached",
            "--others",
            "--exclude-standard",
        ]
        done = subprocess.run(listing, cwd=ROOT, capture_output=True, text=True, check=True)
        return sorted({path for path in done.stdout.split("\0") if path and (ROOT / path).exists()})
    left_out = {".venv", ".git", "__pycache__", ".pytest_cache", ".mypy_cache", ".ruff_cache", ".hypothesis"}
    files = (file.relative_to(ROOT) for file in ROOT.rglob("*") if file.is_file())
    return sorted(str(file) for file in files if not left_out & set(file.parts))
