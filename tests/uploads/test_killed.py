"""kill -9 of a real server while files come in; `python -m tests.studies uploads` does it more often."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.uploads.killed import kill_at_chance_moments


@pytest.mark.study
def test_no_acknowledged_byte_is_lost_at_twenty_chance_moments(tmp_path: Path) -> None:
    count = kill_at_chance_moments(tmp_path, moments=20, seed=1)
    assert count.faults == []
    assert count.in_the_middle >= 5, "the kills came at moments that try nothing"
