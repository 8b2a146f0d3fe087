"""Some malformed files; `python -m tests.studies fuzz` sends ten thousand."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.studies.fuzz import storm
from tests.studies.fuzz_files import case_of
from tests.studies.processes import MOST_MB

FILES, FIRST_SEED = 40, 2_720_001


@pytest.mark.study
def test_malformed_files_do_no_harm(tmp_path: Path) -> None:
    found = storm(tmp_path / "data", FILES, FIRST_SEED, people=1, patience=4.0)
    assert found.faults == []
    assert found.files == FILES
    assert all(kind in found.memory for kind in MOST_MB), found.memory


def test_a_seed_is_a_file() -> None:
    seeds = range(FIRST_SEED, FIRST_SEED + 20)
    cases = [case_of(seed) for seed in seeds]
    assert [case_of(seed) for seed in seeds] == cases
    assert len({case.data for case in cases if case.data}) > 0.8 * len(cases)
    assert len(Counter(case.kind for case in cases)) >= 4
