"""The part of a result that tells of one run is what the whole result says of it, no more and no less."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from server.analysis.result import Joint
from server.results.codec import result_from_bytes, result_to_bytes
from server.results.run_part import RunParts, part_of
from tests.results.made_loads import loaded_day


@pytest.mark.parametrize("run", [1, 2, 4, 7, 99])
def test_a_part_read_from_the_file_is_the_part_of_the_whole(tmp_path: Path, run: int) -> None:
    content = result_to_bytes(loaded_day("ABC"))
    file = tmp_path / "result.zip"
    file.write_bytes(content)
    read = RunParts(lambda _: file).of("0" * 64, run, arrays=True)
    assert result_to_bytes(read) == result_to_bytes(part_of(result_from_bytes(content), run))
    told = {one.run for setup in read.setups for one in setup.passes}
    assert told == ({run} if run != 99 else set())
    assert [setup.name for setup in read.setups] == ["A", "B", "C"]


def test_without_arrays_all_else_is_there(tmp_path: Path) -> None:
    file = tmp_path / "result.zip"
    file.write_bytes(result_to_bytes(loaded_day("ABC")))
    parts = RunParts(lambda _: file)
    light, full = (parts.of("0" * 64, 1, arrays) for arrays in (False, True))
    fits = [one.fits[0] for one in (light.setups[0], full.setups[0])]
    assert (fits[0].scx, fits[0].of) == (fits[1].scx, fits[1].of)
    assert (fits[0].speed_mps.size, fits[1].speed_mps.size > 10) == (0, True)
    assert parts.of("0" * 64, 1) is light


@pytest.mark.parametrize("arrays", [False, True])
def test_what_setups_are_told_of_together_is_left_out(tmp_path: Path, arrays: bool) -> None:
    """Of one setup too, whose covariance has a shape although it is one number."""
    whole = replace(loaded_day("A"), joint={"SCx": Joint(("A",), "m²", np.ones(1), np.eye(1))})
    file = tmp_path / "result.zip"
    file.write_bytes(result_to_bytes(whole))
    assert RunParts(lambda _: file).of("0" * 64, 1, arrays).joint == {}
    assert part_of(whole, 1).joint == {}
