"""Cases that no solver would print: zeros, wrong signs, absent heights, odd yaws; something is said, nothing breaks."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from server.analysis.correlation import correlate_day
from server.analysis.correlation_across import across, day_pairs
from server.analysis.correlation_across_words import across_sentences
from server.analysis.correlation_json import correlation_to_json
from server.analysis.correlation_words import VERDICT_WORDS, day_counts, day_sentence
from server.commands.report_correlation import correlation_lines
from server.figures.correlation import beside, beside_table
from server.figures.correlation_unity import unity, unity_table
from server.figures.theme import setup_marks
from server.testday.values import PredictionCase, Quantity
from tests.analysis.correlated_days import measured_day

VALUES = (0.0, -1.0, 1e-9, 1e6, 1.4, 1.5, 2.0, 1.4)


def area(rng: np.random.Generator) -> Quantity | None:
    value, u = float(rng.choice(VALUES)), float(rng.choice([0.0, 0.01, 1e3]))
    return None if rng.random() < 0.2 else Quantity(value, u, "predicted")


def one_case(name: str, rng: np.random.Generator) -> PredictionCase:
    heights = (rng.choice([0.0, 0.022, 0.026, 0.0261]), rng.choice([0.0, 0.026, 0.030, 0.5]))
    front, rear = (float(height) or None for height in heights)
    yaw, part = float(rng.choice([0.0, 0.1, -3.0])), str(rng.choice(["", "", "wing"]))
    made = PredictionCase(name, front, rear, yaw, 22.0, area(rng), area(rng), area(rng), part, "made up")
    return replace(made, scz_front_m2=None, scz_m2=area(rng)) if rng.random() < 0.2 else made


@pytest.mark.parametrize("seed", range(2_640_901, 2_640_904))
def test_nothing_breaks(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for _ in range(8):
        names = [f"S{i}" for i in range(rng.integers(1, 7))]
        rel_u, shared = float(rng.choice([0.0, 0.01, 2.0])), float(rng.choice([0.0, 0.5, 1.0]))
        areas = {name: tuple(np.add(rng.choice([1.4, -0.5, 1e-6, 2.0], 3), [0.0, 0.01, 0.02])) for name in names}
        day, result = measured_day(areas, rel_u=rel_u, shared=shared)
        cases = [one_case(name, rng) for name in names for _ in range(rng.integers(0, 12))]
        found = correlate_day(result, day, cases)
        json.dumps(correlation_to_json(found), allow_nan=False)
        assert day_sentence(found)
        assert day_counts(found)
        correlation_lines(found)
        marks = setup_marks(names)
        for quantity in ("SCx", "SCz", "balance_front", "LD"):
            held = [one for one in found.totals if one.quantity == quantity]
            beside(held, marks, VERDICT_WORDS)
            beside_table(held, VERDICT_WORDS)
            pairs = day_pairs(result, found.totals, quantity)
            if len(pairs.setups) >= 2:
                together = across(pairs)
                assert across_sentences(together)
                unity(together, marks)
                unity_table(together)
