"""The checks as a whole: one test that fails beside others is decided alone, more than a few are not tried again."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests import checks


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A checkout of nothing but what pytest keeps."""
    (tmp_path / ".pytest_cache" / "v" / "cache").mkdir(parents=True)
    monkeypatch.setattr(checks, "ROOT", tmp_path)
    return tmp_path


@pytest.mark.parametrize(
    ("failed", "alone", "code", "asked"),
    [
        ([], None, 0, 1),
        (["tests/a.py::one"], 0, 0, 2),
        (["tests/a.py::one"], 1, 1, 2),  # wrong, not only unlucky
        (["tests/a.py::one", "tests/b.py::two", "tests/c.py::three"], None, 1, 1),
        (["tests/benchmarks/a.py::one"], None, 1, 1),  # left from a benchmark, which has failed already
    ],
)
def test_a_few_that_fail_are_run_again_alone(
    root: Path, monkeypatch: pytest.MonkeyPatch, *, failed: list[str], alone: int | None, code: int, asked: int
) -> None:
    (root / ".pytest_cache" / "v" / "cache" / "lastfailed").write_text(json.dumps(dict.fromkeys(failed, True)))
    calls: list[list[str]] = []

    def run(_: str, command: list[str]) -> int:
        calls.append(command)
        return (1 if failed else 0) if len(calls) == 1 else int(alone or 0)

    monkeypatch.setattr(checks, "_run", run)
    assert checks._run_beside_each_other() == code
    assert len(calls) == asked
    assert calls[-1][-len(failed) :] == failed if asked == 2 else "-n" in calls[0]


def test_other_ends_than_failed_tests_are_not_tried_again(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (root / ".pytest_cache" / "v" / "cache" / "lastfailed").write_text('{"tests/a.py::one": true}')
    monkeypatch.setattr(checks, "_run", lambda *_: 2)  # interrupted, or it could not be collected
    assert checks._run_beside_each_other() == 2
