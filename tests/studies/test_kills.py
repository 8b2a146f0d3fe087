"""kill -9 of a server at work, a few times; `python -m tests.studies kills --moments 100` does it more often."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.studies.kill_actors import Ledger
from tests.studies.kills import Count, check, kill_at_chance_moments
from tests.uploads.killed import Sent, running


@pytest.mark.study
def test_what_was_acknowledged_outlives_six_kills(tmp_path: Path) -> None:
    count = kill_at_chance_moments(tmp_path, moments=6, seed=5)
    assert count.faults == []
    assert count.moments == 6
    tried = count.in_request + count.in_file + count.in_job + count.in_import + count.in_backup + count.migrations
    assert tried >= 3, "the kills came at moments that try nothing"


def test_what_is_lost_is_noticed(tmp_path: Path) -> None:
    """A ledger of things that no server ever took: each of them is missed."""
    ledger, count = Ledger(), Count()
    ledger.files.append(Sent(b"abc", place=f"/uploads/{'0' * 32}", acknowledged=3))
    ledger.zips["0" * 32] = "0" * 64
    ledger.revisions[1, 2] = "weighed again"
    with running(tmp_path) as (_, address):
        check(tmp_path, address, ledger, count)
    assert len(count.faults) == 4
    assert all("gone" in fault for fault in count.faults)
