"""`fit` on a made-up day, nothing replaced: in a process of its own, from a folder and from a zip of it."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from server.locations import sample_data_folder
from server.testday.findings import CODES
from tests.tree import ROOT

DAY = sample_data_folder() / "2026-04-11 shakedown"
ESTIMATE_KEYS = {"value", "u", "u95", "low95", "high95", "unit", "source"}


def fit(*arguments: str) -> subprocess.CompletedProcess[str]:
    """`python -m server fit …`."""
    command = [sys.executable, "-m", "server", "fit", *arguments]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)


@pytest.fixture(scope="module")
def told() -> dict[str, Any]:
    """The JSON of the made-up day."""
    done = fit(str(DAY), "--json")
    assert done.returncode == 0, done.stderr
    assert "%  " in done.stderr
    return json.loads(done.stdout, parse_constant=lambda constant: pytest.fail(f"{constant} is no JSON"))


def test_the_estimates_hold_the_truth_that_the_day_was_made_from(told: dict[str, Any]) -> None:
    """One day proves no coverage; an interval that misses by its whole width would prove a mistake."""
    truth = json.loads((sample_data_folder() / "truth.json").read_text("utf-8"))[DAY.name]["setups"]["A"]
    estimates = told["setups"][0]["estimates"]
    for name in ("SCx", "SCx_apparent", "c0", "grade"):
        assert set(estimates[name]) == ESTIMATE_KEYS
        assert abs(estimates[name]["value"] - truth[name]) < 2.0 * estimates[name]["u95"], name


def test_every_setup_pass_and_finding_has_its_keys(told: dict[str, Any]) -> None:
    (setup,) = told["setups"]
    coast_downs = [each for each in setup["passes"] if each["kind"] == "coast-down"]
    assert len(coast_downs) >= 2
    for each in setup["passes"]:
        assert set(each) == {"run", "kind", "direction", "start_s", "end_s", "used", "reason"}
        assert each["end_s"] > each["start_s"]
    assert setup["budget"]
    for finding in told["findings"]:
        assert finding["code"] in CODES
        assert finding["grade"] in {"note", "check", "stop"}
        assert finding["text"]


def test_a_zip_of_the_folder_gives_the_same_to_the_last_digit(told: dict[str, Any], tmp_path: Path) -> None:
    zipped = shutil.make_archive(str(tmp_path / "day"), "zip", DAY.parent, DAY.name)
    done = fit(zipped, "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == told


def test_the_report_says_the_same_number(told: dict[str, Any]) -> None:
    from server.testday.rounding import with_uncertainty

    area = told["setups"][0]["estimates"]["SCx"]
    done = fit(str(DAY))
    assert done.stdout.startswith(f"Setup A: SCx {with_uncertainty(area['value'], area['u95'], 'm²')} from ")


@pytest.mark.parametrize(
    ("written", "instead", "sentence"),
    [
        ("mass_kg = 236 ", "mass_kg = 0 ", "mass_kg"),
        ("pressure_hpa = 1007.5", "pressure_hpa = 29.92", "pressure_hpa"),
        ('setup = "A"', 'setup = "Z"', "Z"),
        ("logs/run01.csv", "../run01.csv", "run01.csv"),
        ("logs/run01.csv", "logs/gone.csv", "gone.csv"),
        ("format = 1", "format = ", "testday.toml"),
    ],
)
def test_a_day_that_cannot_be_is_one_sentence(written: str, instead: str, sentence: str, tmp_path: Path) -> None:
    day = shutil.copytree(DAY, tmp_path / "day")
    text = (day / "testday.toml").read_text("utf-8")
    assert written in text
    (day / "testday.toml").write_text(text.replace(written, instead, 1), "utf-8")
    done = fit(str(day), "--json")
    assert (done.returncode, done.stdout) == (2, "")
    last = done.stderr.splitlines()[-1]
    assert last.startswith("stillair: ")
    assert sentence in last
    assert "Traceback" not in done.stderr
