"""What to run next, with its reason in numbers, from what the fit expects of more passes (`analysis/outlook.py`)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from server.results.next_step import MOST_PASSES_ADVISED, Standing, count_word
from server.results.summary import Summary
from server.testday.rounding import rounded

Kind = Literal["wait", "first", "balance", "more", "bracket", "limit", "enough"]
FEW = (2, 2)  # passes of a baseline that closes a bracket: out and back


@dataclass(frozen=True, slots=True)
class Goal:
    """A wanted width: of a setup's SCx, or of its difference to a baseline. has, wants: U95 [m²]; None: none yet."""

    setup: str
    baseline: str
    has: float | None
    wants: float

    @property
    def name(self) -> str:
        """As an outlook names it."""
        return f"{self.setup} − {self.baseline}" if self.baseline else self.setup

    @property
    def reached(self) -> bool:
        """Whether the interval is narrow enough."""
        return self.has is not None and self.has <= self.wants

    @property
    def words(self) -> str:
        """has ± 0.06 m², wants ± 0.04 m²."""
        wants = f"wants ± {self.wants:g} m²"
        return f"has {pm(self.has)} m², {wants}" if self.has else wants


@dataclass(frozen=True, slots=True)
class Reach:
    """Passes (setup, out, back) and the U95 [m²] that they are expected to bring."""

    added: tuple[tuple[str, int, int], ...]
    u95: float

    @property
    def total(self) -> int:
        """Passes in all."""
        return sum(out + back for _, out, back in self.added)


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do: a clause after “Next: ”, of which kind it is, and the passes alone, where there are any to run."""

    kind: Kind
    text: str
    passes: str = ""


@dataclass(frozen=True, slots=True)
class Ground:
    """What the day is like besides its numbers. halts: what speaks against any pass now; unclosed: the change that no
    baseline run follows; baseline: that would; idle: setups that nobody drove."""

    halts: tuple[str, ...] = ()
    baseline: str = ""
    unclosed: str = ""
    idle: tuple[str, ...] = ()


def next_run(summary: Summary, goals: Sequence[Goal], standings: Mapping[str, Standing], ground: Ground) -> Advice:
    """What to run next. goals: those that count, any order."""
    if ground.halts:
        return Advice("wait", f"wait, or pack up: {ground.halts[0]}")
    if not any(goal.has for goal in goals):
        return Advice("first", "run a first pair, out and back", "a first pair, out and back")
    if (tilted := _tilted(standings)) is not None:
        return tilted
    open_ones = [goal for goal in goals if goal.has and not goal.reached]
    if open_ones:
        worst = max(open_ones, key=lambda goal: (goal.has or 0.0) / goal.wants)
        return _more(summary, worst, standings)
    return _reached(ground)


def _reached(ground: Ground) -> Advice:
    """What is left to do once every interval is narrow enough."""
    if ground.unclosed:
        return _bracket(ground)
    if ground.idle:
        passes = f"{ground.idle[0]}, out and back"
        return Advice("first", f"{passes}: what was driven is narrow enough", passes)
    return Advice("enough", "enough of these: every wanted interval is reached; another setup, or pack up")


def _tilted(standings: Mapping[str, Standing]) -> Advice | None:
    """The setup whose directions are out of balance most."""
    known = {name: at for name, at in standings.items() if at.passes and at.out + at.back == at.passes}
    name = max(known, key=lambda one: abs(known[one].out - known[one].back), default=None)
    if name is None or abs(known[name].out - known[name].back) < 2:
        return None
    at = known[name]
    count, way = abs(at.out - at.back), "back" if at.out > at.back else "out"
    why = f"{at.out} went out and {at.back} back, so wind and slope do not cancel"
    passes = f"{count_word(count)} more {way} of {name}"
    return Advice("balance", f"{passes}: {why}", passes)


def brings(summary: Summary, goal: Goal, standings: Mapping[str, Standing]) -> str:
    """For one goal alone, shortly: what would bring it to the wanted width, or that nothing that can be run does."""
    found = reach(summary, goal, standings)
    if found is not None:
        return f"{_passes_of(found)}: then {pm(found.u95)} m²"
    best = min(_options(summary, goal, standings), key=lambda one: one.u95, default=None)
    return f"{_passes_of(best)} leave {pm(best.u95)} m²" if best else f"more passes of {goal.setup}, each way"


def _more(summary: Summary, goal: Goal, standings: Mapping[str, Standing]) -> Advice:
    found = reach(summary, goal, standings)
    if found is not None:
        return Advice("more", reach_words(found, goal), _passes_of(found))
    best = min(_options(summary, goal, standings), key=lambda one: one.u95, default=None)
    if best is None:
        return Advice("more", f"more passes of {goal.setup}, each way")
    even = f"{_passes_of(best)} would bring {goal.name} only from {pm(goal.has)} to {pm(best.u95)} m²"
    at = standings.get(goal.setup)
    if not goal.baseline and at and at.stated > at.random and at.largest:
        part = at.largest.partition(" (")[0]
        return Advice("limit", f"measure or state {part} more closely rather than run more: {even}")
    gust = summary.get("gust_sd")
    why = f", with gusts of {gust:.1f} m/s in every pass" if gust else ""
    return Advice("limit", f"wait for less wind, or pack up: {even}{why}")


def _bracket(ground: Ground) -> Advice:
    out, back = FEW
    passes = f"the baseline {ground.baseline} once more, {count_word(out)} out and {count_word(back)} back"
    why = f"{ground.unclosed} was driven last, and nothing after it tells whether the day moved"
    return Advice("bracket", f"{passes}: {why}", passes)


def reach(summary: Summary, goal: Goal, standings: Mapping[str, Standing]) -> Reach | None:
    """The fewest passes that are expected to reach the goal; None where none that can be advised do."""
    found = [one for one in _options(summary, goal, standings) if one.u95 <= goal.wants]
    return min(found, key=lambda one: (one.total, len(one.added)), default=None)


def _options(summary: Summary, goal: Goal, standings: Mapping[str, Standing]) -> Iterator[Reach]:
    """Every number of passes of one setup, and the numbers of both that were tried."""
    if goal.has is None:
        return
    tried = [one for one in summary.get("outlook", ()) if goal.name in one["shrink"]]
    for name in dict.fromkeys(one["added"][0]["setup"] for one in tried if len(one["added"]) == 1):
        mine = [one for one in tried if len(one["added"]) == 1 and one["added"][0]["setup"] == name]
        counts = [0, *(_count(one) for one in mine)]
        gains = [1.0, *(one["shrink"][goal.name] ** -2.0 for one in mine)]
        for count in range(1, min(counts[-1], MOST_PASSES_ADVISED) + 1):
            width = goal.has / float(np.sqrt(np.interp(count, counts, gains)))
            yield Reach(((name, *_ways(standings.get(name), count)),), width)
    for one in tried:
        if len(one["added"]) > 1:
            added = tuple((each["setup"], each["out"], each["back"]) for each in one["added"])
            yield Reach(added, goal.has * one["shrink"][goal.name])


def _count(one: dict[str, Any]) -> int:
    return int(sum(each["out"] + each["back"] for each in one["added"]))


def _ways(at: Standing | None, count: int) -> tuple[int, int]:
    """So many passes over both directions, the rarer first."""
    out, back = (at.out, at.back) if at else (0, 0)
    added = [0, 0]
    for _ in range(count):
        added[0 if out + added[0] <= back + added[1] else 1] += 1
    return added[0], added[1]


def reach_words(found: Reach, goal: Goal) -> str:
    """Two more out and one back of B bring B − A from ± 0.06 to ± 0.04 m²."""
    verb = "brings" if found.total == 1 else "bring"
    return f"{_passes_of(found)} {verb} {goal.name} from {pm(goal.has)} to {pm(found.u95)} m²"


def _passes_of(found: Reach) -> str:
    return " and ".join(f"{_passes(out, back)} of {name}" for name, out, back in found.added)


def _passes(out: int, back: int) -> str:
    if out == back:
        return f"{count_word(out)} more each way"
    told = [f"{count_word(n)} {'more ' if first else ''}{way}" for first, n, way in
            ((True, out, "out"), (not out, back, "back")) if n]  # fmt: skip
    return " and ".join(told)


def pm(u95: float | None) -> str:
    """± with two digits."""
    return f"± {rounded(u95, u95)[0]}" if u95 else "none yet"
