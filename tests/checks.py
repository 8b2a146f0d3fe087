"""The checks one after the other: style, types, benchmarks, tests. The tests come last: their count ends it."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PROCESSES = 3  # on two processors: a test that waits for a browser or a server leaves its own to the third
# One test file stays in one process: browsers and servers are started once a file.
# Benchmarks are ratios of processor times, which a test beside them on the same machine would bend.
BENCHMARKS = "tests/benchmarks"
PARALLEL = ["-n", str(PROCESSES), "--dist", "loadfile"]


def run_all() -> int:
    """All checks; returns the first exit code that is not 0."""
    codes = [
        _run("style", ["ruff", "check", *_cache("--cache-dir", "ruff"), "."]),
        _run("types", ["mypy", *_cache("--cache-dir", "mypy")]),
    ]
    failed = [name for name, code in zip(("style (ruff)", "types (mypy)"), codes, strict=True) if code]
    if failed:
        print(f"NOT PASSED: {', '.join(failed)}; see above", flush=True)
    codes.append(run_pytest([BENCHMARKS]))
    codes.append(run_pytest([*PARALLEL, f"--ignore={BENCHMARKS}"]))
    return next((code for code in codes if code), 0)


def run_pytest(arguments: list[str]) -> int:
    """Pytest with reasons of skipped tests in the summary; its count is the last line."""
    cache = ["-o", f"cache_dir={_scratch('pytest')}"] if not _writable() else []
    return _run("tests", ["pytest", "-rs", *cache, *arguments])


def _run(title: str, command: list[str]) -> int:
    print(f"== {title}: {' '.join(command)}", flush=True)
    return subprocess.run([sys.executable, "-m", *command], cwd=ROOT, env=_environment(), check=False).returncode


def _environment() -> dict[str, str]:
    """The shell's, with compiled modules kept: the tests start Python some hundred times."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept if _writable() else {**kept, "PYTHONPYCACHEPREFIX": str(_scratch("compiled"))}


def _cache(option: str, name: str) -> list[str]:
    """Where the checkout cannot be written, caches go to the temporary folder."""
    return [] if _writable() else [option, str(_scratch(name))]


def _writable() -> bool:
    return os.access(ROOT, os.W_OK)


def _scratch(name: str) -> Path:
    return Path(tempfile.gettempdir()) / f"stillair-checks-{os.getpid()}" / name
