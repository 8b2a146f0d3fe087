"""The report for people: the sentence first, values with two digits of their U95, gravest findings first."""

from __future__ import annotations

import dataclasses

from server.analysis.result import Comparison, Delta
from server.commands.report import comparison_sentence, report, sentence
from server.testday.values import Finding
from tests.analysis.made_result import made_result
from tests.results.made_loads import loaded_day


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


def test_loads_are_said_in_the_units_of_the_track() -> None:
    text = report(loaded_day("AB"))
    for line in (
        "Setup A: SCz 3.550 ± 0.078 m², 45.63 ± 0.78 % front, L/D 2.336 ± 0.069 at 22 m/s (79 km/h), "
        "riding at 26.8 ± 1.0 mm front, 30.1 ± 1.1 mm rear.",
        "Setup A: no bend of SCz over the ride heights visited can be told (p = 0.370, 199 simulated days without",
        "Setup B: SCz changes with ride height (p = 0.005, ",
        "  balance_front      45.63 ± 0.78 % front   measured",
        "  SCz_front          1.620 ± 0.041 m²       measured",
        "  balance_front  -3.71 ± 0.59 points  p less than 0.001",
        "  rear axle, damper travel over ride height: 0.930 ± 0.027, apart by 4.6 u",
        "  front wheel rate: 35.40 ± 0.59 N/mm (entered 33.00 ± 0.65 N/mm); 5.4 u from what was entered",
        "  driveline drag T1: 0.310 ± 0.059 N s/m; nothing was entered",
    ):
        assert line in text, text


def test_a_day_without_loads_says_nothing_of_them() -> None:
    text = report(made_result())
    assert not [word for word in ("Axle loads", "Stand tests", "ride height", "riding at") if word in text]


def test_what_repeats_takes_one_line() -> None:
    result = made_result()
    notes = tuple(Finding("default-used", "note", f"No value {i} was given.") for i in range(14))
    down = tuple(dataclasses.replace(result.setups[1].passes[0], start_s=float(i)) for i in range(5))
    setups = (result.setups[0], dataclasses.replace(result.setups[1], passes=down))
    text = report(dataclasses.replace(result, setups=setups, findings=(*result.findings[1:], *notes)))
    assert text.count("[default-used]") == 1
    assert "  note: 14 notes: A property of the car, its driver or the air was not given; a wide default" in text
    assert "No value 13 was given." in text
    assert text.count("too short") == 1
    assert "  5 times" in text
