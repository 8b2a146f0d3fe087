"""The checks one after the other: style, types, benchmarks, tests. The tests come last: their count ends it."""

from __future__ import annotations

import json
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
SOME_FAILED = 1  # pytest's exit code
FEW = 2  # more are no chance


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
    codes.append(_run_beside_each_other())
    return next((code for code in codes if code), 0)


def run_pytest(arguments: list[str]) -> int:
    """Pytest with reasons of skipped tests in the summary; its count is the last line."""
    return _run("tests", ["pytest", "-rs", "-o", f"cache_dir={_pytest_cache()}", *arguments])


def _run_beside_each_other() -> int:
    """All but benchmarks. One or two that fail are told whole, and decided alone: beside others a wait may be too short
    on a busy machine, and a test that is wrong fails both times."""
    code = run_pytest([*PARALLEL, f"--ignore={BENCHMARKS}"])
    failed = _failed() if code == SOME_FAILED else []
    if not 0 < len(failed) <= FEW:
        return code
    print(f"NOT STEADY, see above; run again alone: {', '.join(failed)}", flush=True)
    return run_pytest(failed)


def _failed() -> list[str]:
    """The tests that failed when last run, benchmarks apart."""
    kept = _pytest_cache() / "v" / "cache" / "lastfailed"
    names = json.loads(kept.read_text("utf-8")) if kept.exists() else {}
    return [name for name in names if not name.startswith(BENCHMARKS)]


def _pytest_cache() -> Path:
    return ROOT / ".pytest_cache" if _writable() else _scratch("pytest")


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
