"""Where a day stands between two outings: each area and difference against what is wanted, and what to run next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.analysis.trackside_findings import trackside_findings
from server.days.change import find_setup
from server.days.wanted_forms import wanted_area, wanted_differences
from server.figures.theme import SetupMark
from server.results.next_run import Advice, Goal, Ground, brings, next_run
from server.results.next_step import WANTED_U95_M2
from server.results.quantities import ValueView, signed, value_view
from server.results.standing_view import SetupStanding, estimate_of_difference, setup_standings, standing_sentence
from server.results.summary import Summary
from server.testday.rounding import rounded
from server.testday.values import Day, Finding, Run

HALTING = {"wind-limit", "gust-limit", "surface-wet"}
URGENT = {
    *HALTING,
    *("cross-wind", "tyre-pressures", "brake-dragging", "brake-pressed", "engine-braking", "wheel-speed-lost"),
    *("speed-lost", "no-speed", "damper-dead", "travel-clipped", "zero-moved", "load-stuck"),
}
LIVE = {*HALTING, "cross-wind", "tyre-pressures"}  # of the day's own words: told as they stand now, not as fitted


@dataclass(frozen=True, slots=True)
class DifferenceLine:
    """One difference: its value, what it has and wants, what would bring it there; wants empty where nobody said."""

    setup: str
    baseline: str
    mark: SetupMark
    against: SetupMark
    value: ValueView
    text: str
    words: str
    step: str
    reached: bool


@dataclass(frozen=True, slots=True)
class Trackside:
    """All of it. advice: None where a result was kept before more passes were weighed."""

    sentence: str
    setups: tuple[SetupStanding, ...]
    differences: tuple[DifferenceLine, ...]
    advice: Advice | None


def trackside(
    summary: Summary, day: Day, marks: dict[str, SetupMark], wanted_u95_m2: float | None, *, today: bool
) -> Trackside:
    """How the day stands. wanted_u95_m2: of each area, asked for here; None: as the day says. today: it goes on now."""
    area = wanted_u95_m2 or wanted_area(day)
    asked = wanted_differences(day)
    each = area or WANTED_U95_M2
    setups = setup_standings(summary, marks, each)
    at = {one.name: one.standing for one in setups}
    found = {(one["setup"], one["baseline"]): one for one in summary.get("differences", ())}
    goals = [Goal(*key, _u95(found.get(key)), width) for key, width in asked.items()]
    if area or not asked:
        goals += [Goal(one.name, "", one.standing.u95, each) for one in setups if one.value]
    lines = tuple(_difference(summary, key, one, marks, asked.get(key), setups)
                  for key, one in found.items() if set(key) <= set(marks))  # fmt: skip
    if not summary.get("outlook") or any(one.why and not one.value for one in setups):
        return Trackside(standing_sentence(setups, each), setups, lines, None)
    advice = next_run(summary, goals, at, ground_of(day, today=today))
    told = _values(setups, lines, asked, each if area or not asked else None)
    return Trackside(f"{told}. Next: {advice.text}.", setups, lines, advice)


def _values(
    setups: Sequence[SetupStanding], lines: Sequence[DifferenceLine], asked: Mapping[tuple[str, str], float],
    each: float | None,
) -> str:  # fmt: skip
    """The areas, or the differences that the day is about, with what is wanted of them."""
    areas = ", ".join(f"{one.name} {one.short}" for one in setups if one.value)
    said = [f"{line.setup} − {line.baseline} {line.text}" for line in lines if (line.setup, line.baseline) in asked]
    if not said:
        return f"SCx {areas} m²" + (f", wanted ± {each:g} m²" if each else "")
    wanted = ", ".join(f"± {width:g}" for width in asked.values())
    return f"SCx {', '.join(said)} m², wanted {wanted} m²"


def _difference(  # noqa: PLR0917 - one line of a table from its parts
    summary: Summary, key: tuple[str, str], kept: dict[str, Any], marks: dict[str, SetupMark],
    wants: float | None, setups: Sequence[SetupStanding],
) -> DifferenceLine:  # fmt: skip
    estimate = estimate_of_difference(kept)
    goal = Goal(*key, estimate.u95, wants or 0.0)
    at = {one.name: one.standing for one in setups}
    value, half = rounded(estimate.value, estimate.u95)
    step = ""
    if wants:
        step = "reached" if goal.reached else brings(summary, goal, at)
    view = value_view("SCx", estimate)
    return DifferenceLine(*key, marks[key[0]], marks[key[1]], view, f"{signed(value)} ± {half}",
                          goal.words if wants else "", step, bool(wants) and goal.reached)  # fmt: skip


def _u95(kept: dict[str, Any] | None) -> float | None:
    return (kept["high95"] - kept["low95"]) / 2.0 if kept else None


def ground_of(day: Day, *, today: bool) -> Ground:
    """What the day is like besides its numbers."""
    halts = tuple(finding.text for finding in trackside_findings(day) if finding.code in HALTING) if today else ()
    named = [setup.baseline for setup in day.setups if setup.baseline]
    baseline = max(named, key=named.count) if named else ""
    driven = [run.setup for run in sorted(day.runs, key=_moment)]
    unclosed = driven[-1] if baseline in driven and driven[-1] != baseline else ""
    if unclosed and not find_setup(day, unclosed).baseline:
        unclosed = ""
    idle = tuple(setup.name for setup in day.setups if setup.name not in driven)
    return Ground(tuple(one.rstrip(".") for one in halts), baseline, unclosed, idle)


def _moment(run: Run) -> tuple[float, int]:
    return (run.start_clock_s if run.start_clock_s is not None else float("inf"), run.number)


def urgent(summary: Summary | None, day: Day) -> tuple[Finding, ...]:
    """What needs a person now: the day's own words as they stand, and what the newest fit noticed."""
    fitted = summary["asking"] if summary else ()
    told = [Finding(one["code"], one["grade"], one["text"], one["run"]) for one in fitted]
    noticed = [one for one in told if one.code in URGENT - LIVE]
    return (*(one for one in trackside_findings(day) if one.code in URGENT), *noticed)
