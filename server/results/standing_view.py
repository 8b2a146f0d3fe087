"""Where a day stands: each setup's drag area against the wanted interval, what to run next, how it came to that.

All from the summaries in the database; no result is read whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from server.analysis.result import Estimate
from server.figures.theme import SetupMark
from server.results.next_run import Goal, brings
from server.results.next_step import QUANTITY, Standing, each_way_from, standing_from, step_from
from server.results.quantities import ValueView, value_view
from server.results.summary import Summary
from server.testday.rounding import rounded

if TYPE_CHECKING:
    from server.figures.course import Course

FROM_SUMMARY = ("value", "u", "low95", "high95", "unit", "source")


@dataclass(frozen=True, slots=True)
class SetupStanding:
    """A setup: its area (None where none can be had, `why` then says why), coast-downs used, what to do next.

    reached: U95 is within the wanted one and both directions were driven.
    """

    name: str
    mark: SetupMark
    value: ValueView | None
    short: str
    standing: Standing
    step: str
    why: str
    reached: bool

    @property
    def ways(self) -> str:
        """Coast-downs used, by direction where it is known."""
        at = self.standing
        unknown = at.passes - at.out - at.back
        told = [f"{at.out} out", f"{at.back} back"] + ([f"{unknown} of unknown direction"] if unknown else [])
        return ", ".join(told) if at.passes else "none"


def setup_standings(
    summary: Summary | None, marks: dict[str, SetupMark], wanted_u95_m2: float
) -> tuple[SetupStanding, ...]:
    """One a setup of the day, in the order of `marks`; those that no result knows have nothing yet."""
    known = {one["setup"]: one for one in summary["setups"]} if summary else {}
    told = tuple(_standing(name, mark, known.get(name), wanted_u95_m2) for name, mark in marks.items())
    return tuple(_ahead(summary, one, told, wanted_u95_m2) for one in told) if summary else told


def _ahead(
    summary: Summary, one: SetupStanding, told: Sequence[SetupStanding], wanted_u95_m2: float
) -> SetupStanding:
    """The standing with its next step by what the fit expects of more passes, where it told so."""
    if one.value is None or one.reached or not _both_ways(one.standing) or not summary.get("outlook"):
        return one
    goal = Goal(one.name, "", one.standing.u95, wanted_u95_m2)
    return replace(one, step=brings(summary, goal, {each.name: each.standing for each in told}))


def _standing(name: str, mark: SetupMark, kept: dict[str, Any] | None, wanted: float) -> SetupStanding:
    if kept is None:
        nothing = Standing(0, 0, 0, None, None, 0.0, 0.0, "", "")
        return SetupStanding(name, mark, None, "", nothing, "not driven yet", "", reached=False)
    at, scx = standing_from(kept["standing"]), estimate_of(kept)
    return SetupStanding(
        name=name,
        mark=mark,
        value=value_view(QUANTITY, scx) if scx else None,
        short=" ± ".join(rounded(scx.value, scx.u95)) if scx else "",
        standing=at,
        step=step_from(at, wanted),
        why=kept["why"],
        reached=bool(scx and scx.u95 <= wanted and _both_ways(at)),
    )


def _both_ways(at: Standing) -> bool:
    return at.passes > at.out + at.back or (min(at.out, at.back) > 0 and abs(at.out - at.back) < 2)


def estimate_of(kept: dict[str, Any], quantity: str = QUANTITY) -> Estimate | None:
    """An estimate as a summary's setup keeps it."""
    value = kept["estimates"].get(quantity)
    return Estimate(*(value[name] for name in FROM_SUMMARY)) if value else None


def estimate_of_difference(kept: dict[str, Any]) -> Estimate:
    """A difference as a summary keeps it."""
    return Estimate(*(kept[name] for name in FROM_SUMMARY))


def standing_sentence(setups: Sequence[SetupStanding], wanted_u95_m2: float) -> str:
    """Where the day stands and what to do next, in one sentence."""
    told = [one for one in setups if one.value]
    driven = [one for one in setups if one.value or one.why]
    wanted = f"± {wanted_u95_m2:g} m²"
    if not driven:
        return "No coast-down was fitted yet; run the first pair, out and back."
    if not told:
        return f"No drag area can be had yet: {driven[0].why.rstrip('.')}. Next: {driven[0].step}."
    values = ", ".join(f"{one.name} {one.short}" for one in told)
    worst = next_setup(setups, wanted_u95_m2)
    if worst is None:
        each = "both" if len(told) == 2 else "all" if len(told) > 2 else ""
        rest = f"; {each + ' ' if each else ''}within the wanted {wanted}"
        idle = [one.name for one in setups if not one.value and not one.why]
        return f"SCx {values} m²{rest}. Next: " + (f"run {idle[0]}." if idle else "another setup, or pack up.")
    if worst.value is None:
        return f"SCx {values} m², wanted {wanted}; {worst.name} has no area. Next for {worst.name}: {worst.step}."
    told_by_step = "" if wanted in worst.step else f", wanted {wanted}"
    return f"SCx {values} m²{told_by_step}. Next: {_whose(worst, told)}, {worst.step}."


def _whose(worst: SetupStanding, told: Sequence[SetupStanding]) -> str:
    """The setup that the next step is of; each of them where it is the same."""
    return "each of them" if len(told) > 1 and all(one.step == worst.step for one in told) else worst.name


def next_setup(setups: Sequence[SetupStanding], wanted_u95_m2: float) -> SetupStanding | None:
    """The setup to run next: one without an area, else the one that is farthest from the wanted interval."""
    missing = [one for one in setups if one.why and not one.value]
    open_ones = [one for one in setups if one.value and not one.reached]
    helped = [one for one in open_ones if each_way_from(one.standing, wanted_u95_m2) or not _both_ways(one.standing)]
    chosen = helped or open_ones
    return missing[0] if missing else max(chosen, key=lambda one: one.standing.u95 or 0.0) if chosen else None


def day_course(
    results: Sequence[tuple[Summary, str]], marks: dict[str, SetupMark], wanted_u95_m2: float
) -> Course:
    """The results of a day, the oldest first, each with what led to it, as a figure's values."""
    from server.figures.course import Course, CoursePoint

    points = [
        CoursePoint(number, one["setup"], scx, one["standing"]["passes"], led_by)
        for number, (summary, led_by) in enumerate(results, 1)
        for one in summary["setups"]
        if one["setup"] in marks and (scx := estimate_of(one)) is not None
    ]
    return Course(marks, tuple(points), wanted_u95_m2)
