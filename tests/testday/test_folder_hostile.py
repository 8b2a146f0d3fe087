"""Whatever stands in place of a value, the folder is read or refused in one sentence that names the key."""

import math
import random
import re
from pathlib import Path

import pytest

from server.errors import DayFolderError
from server.testday.folder import read_folder
from server.testday.values import Day
from tests.testday.folders import FULL, FULL_FILES, make, plain

ODD = r"""
nan
inf
-inf
-1
0
1e400
-0.0
99999999999999999999999999
true
""
" "
'x'
"\u0000"
'../x'
'/'
[]
{}
[[]]
[1, 2]
[[1, 2]]
[[nan, 1], [2, 3]]
['a']
{a = 1}
[{a = 1}]
09:00:00
2026-05-09
2026-05-09T09:00:00Z
""".strip().splitlines()
LINES = [number for number, line in enumerate(FULL.splitlines()) if re.match(r"\w+ = ", line)]


def numbers_in(value) -> list[float]:
    """Every float in a day."""
    if isinstance(value, dict):
        return [number for entry in value.values() for number in numbers_in(entry)]
    if isinstance(value, tuple):
        return [number for entry in value for number in numbers_in(entry)]
    return [value] if isinstance(value, float) else []


def attempt(folder: Path) -> Day | str:
    """Read a folder; a refusal must be one sentence about a file."""
    try:
        day = read_folder(folder)
    except DayFolderError as error:
        sentence = str(error)
        assert re.match(r"(testday\.toml|predictions\.csv|survey/elevation\.csv): ", sentence)
        assert "\n" not in sentence
        assert sentence.endswith(".")
        assert len(sentence) < 300
        return sentence
    assert all(map(math.isfinite, numbers_in(plain(day))))
    return day


@pytest.mark.parametrize("line", LINES)
def test_any_value_in_any_place(tmp_path: Path, line: int) -> None:
    lines = FULL.splitlines()
    key = lines[line].split(" = ")[0]
    folder = make(tmp_path / "day", FULL, FULL_FILES)
    refused = 0
    for odd in ODD:
        lines[line] = f"{key} = {odd}"
        make(folder, "\n".join(lines))
        outcome = attempt(folder)
        if isinstance(outcome, str):
            refused += 1
            assert key in outcome or "name" in outcome
    assert refused >= 8  # no key takes all kinds of values


@pytest.mark.parametrize("seed", range(6))
def test_damaged_bytes(tmp_path: Path, seed: int) -> None:
    draw = random.Random(seed)
    folder = make(tmp_path / "day", FULL, FULL_FILES)
    for name in ("testday.toml", "predictions.csv", "survey/elevation.csv"):
        whole = (folder / name).read_bytes()
        for _ in range(40):
            damaged = bytearray(whole)
            for _ in range(draw.randint(1, 4)):
                damaged[draw.randrange(len(damaged))] = draw.randrange(256)
            (folder / name).write_bytes(damaged[: draw.choice([len(whole), draw.randrange(len(whole))])])
            attempt(folder)
        (folder / name).write_bytes(whole)
