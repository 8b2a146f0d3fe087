"""The report for people: the sentence first, values with two digits of their U95, gravest findings first."""

from __future__ import annotations

import dataclasses

from server.analysis.result import Comparison, Delta
from server.commands.report import comparison_sentence, report, sentence
from tests.analysis.made_result import made_result


def test_the_sentence_comes_first_and_holds_the_interval() -> None:
    assert report(made_result()).splitlines()[0] == (
        "Setup A: SCx 1.385 ± 0.041 m² from 2 coast-downs, 1 out and 1 back."
    )


def test_no_area_says_why() -> None:
    result = made_result()
    said = sentence(result.setups[1], result.findings)
    assert said == "Setup B: no drag area can be had. Setup B has no usable pass."


def test_a_stop_about_one_run_is_not_said_of_another_setup() -> None:
    result = made_result()
    other = dataclasses.replace(result.findings[1], run=1, text="Run 1 was braked.")
    assert sentence(result.setups[1], (other,)) == "Setup B: no drag area can be had."


def difference(value: float, u: float, p: float) -> Comparison:
    delta = Delta(value, u, value - 2 * u, value + 2 * u, p, 0.05, "m²")
    return Comparison("B", "A", {"SCx": delta})


def test_a_difference_is_signed_and_a_chance_one_is_called_so() -> None:
    assert comparison_sentence(difference(0.121, 0.017, 1e-9)) == (
        "B against A: SCx +0.121 ± 0.034 m² (p less than 0.001; "
        "the smallest difference this day could have seen is 0.050 m²)."
    )
    assert comparison_sentence(difference(-0.012, 0.017, 0.48)).startswith(
        "B against A: SCx -0.012 ± 0.034 m², no difference can be told (p = 0.48; "
    )


def test_every_part_of_the_result_is_in_the_report() -> None:
    text = report(made_result())
    for line in (
        "  SCz  3.3 ± 1.2 m²      default",
        "Passes: 2 used, 2 turned down",
        "  run 1  10.0–28.5 s  coast-down  brake at 22.0 s",
        "Long apron. The areas hold for speed 79.2 km/h, air density 1.2000 kg/m³, note calm.",
        "  A  the data  0.018 m²   measured",
        "  A  mass      0.0022 m²  typed",
        "  A  three terms not to be had  two terms 1.50 ± 0.12 m²",
    ):
        assert line in text, text
    assert text.index("stop: run 2: Setup B has no usable pass.") < text.index("note: No centre-of-gravity")
    assert "nan" not in text.lower()
