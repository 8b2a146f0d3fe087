"""Has the baseline moved over the day, in words, from what a summary keeps of its runs against each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.results.summary import Summary
from server.testday.rounding import with_uncertainty

WORDS = {"SCx": "drag area SCx", "SCz": "downforce area SCz", "c0": "rolling resistance c0"}
NOT_YET = "The baseline was driven in one run only, so nothing tells whether the day moved under it."


@dataclass(frozen=True, slots=True)
class DriftLine:
    """One quantity: moved or not, each later run against the first."""

    words: str
    moved: bool
    p: str
    changes: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class DriftView:
    """The answer in a sentence, and its lines; no lines where the baseline has one run."""

    sentence: str
    moved: bool
    lines: tuple[DriftLine, ...]


def drift_view(summary: Summary) -> DriftView | None:
    """What the day says of its baseline; None for a result that was kept before this was told."""
    kept: Sequence[dict[str, Any]] = summary.get("drift", ())
    if not kept:
        return DriftView(NOT_YET, False, ()) if summary.get("outlook") else None
    runs, setup = kept[0]["runs"], kept[0]["setup"]
    moved = [one for one in kept if one["moved"]]
    listed = f"runs {', '.join(map(str, runs[:-1]))} and {runs[-1]} of {setup}"
    lines = tuple(_line(one) for one in kept)
    if not moved:
        width = max((change["high95"] - change["low95"]) / 2 for one in kept if one["quantity"] == "SCx"
                    for change in one["changes"])  # fmt: skip
        text = f"The baseline has not moved: {listed} agree, each within ± {width:.2g} m² of SCx against the first."
        return DriftView(text, False, lines)
    told = [f"{WORDS[one['quantity']]} by {_change(max(one['changes'], key=_off))}" for one in moved]
    advice = "Find out what changed before trusting differences."
    return DriftView(f"The baseline has moved between {listed}: {', '.join(told)}. {advice}", True, lines)


def _line(one: Mapping[str, Any]) -> DriftLine:
    told = tuple((f"run {run} against {one['runs'][0]}", _change(change))
                 for run, change in zip(one["runs"][1:], one["changes"], strict=True))  # fmt: skip
    p = "below 0.001" if one["p"] < 0.001 else f"{one['p']:.2g}"
    return DriftLine(WORDS[one["quantity"]], one["moved"], p, told)


def _change(change: Mapping[str, Any]) -> str:
    half = (change["high95"] - change["low95"]) / 2
    unit = "" if change["unit"] == "–" else change["unit"]
    sign = "+" if change["value"] > 0 else ""
    return f"{sign}{with_uncertainty(change['value'], half, unit)}".replace("-", "−")


def _off(change: Mapping[str, Any]) -> float:
    return abs(float(change["value"])) / float(change["u"])
