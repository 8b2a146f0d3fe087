"""Two readings of the same tufts held against each other: prediction and photo, two people, a person and the machine,
two setups."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import t

from server.analysis.tuft_registration import PERSON_U_RAD
from server.inference.agreement_kappa import Agreement, agreement, cross_table
from server.inference.circular import CircularMean, circular_mean, difference
from server.testday.tufts import CONDITIONS, Condition

# How far a tuft wanders between two photos of the same flow, by its condition (common practice, no source).
WANDER_DEG: dict[Condition | None, float] = {
    "attached": 5.0, "reversed": 10.0, None: 10.0, "unsteady": 20.0, "separated": 40.0,
}  # fmt: skip
FEW_FOR_SURE = 10  # below this a kappa's interval is so wide that the page says so first
_NORMAL_95 = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Reading:
    """What one judge says of one tuft, both on the part: direction [rad], its standard uncertainty, condition."""

    direction_rad: float | None = None
    condition: Condition | None = None
    u_rad: float | None = None


@dataclass(frozen=True, slots=True)
class TuftPair:
    """One tuft as both judges have it; turn_rad: the second's direction from the first's, None where one says none."""

    part: str
    station: str
    first: Reading
    second: Reading

    @property
    def turn_rad(self) -> float | None:
        """Within (−π, π]."""
        if self.first.direction_rad is None or self.second.direction_rad is None:
            return None
        return difference(self.second.direction_rad, self.first.direction_rad)

    @property
    def same_condition(self) -> bool | None:
        """None where one of the two says no condition."""
        if self.first.condition is None or self.second.condition is None:
            return None
        return self.first.condition == self.second.condition


@dataclass(frozen=True, slots=True)
class TuftAgreement:
    """How far two judges agree over some tufts; condition and angle None where no tuft has both.

    angle: mean and spread of the second's turn from the first. apart: tufts judged differently, the widest turn first.
    """

    tufts: int
    condition: Agreement | None
    angle: CircularMean | None
    apart: tuple[TuftPair, ...]
    few: bool


def pairs(
    first: Mapping[tuple[str, str], Reading], second: Mapping[tuple[str, str], Reading]
) -> tuple[TuftPair, ...]:
    """The tufts that both judged, by (part, station)."""
    return tuple(TuftPair(*key, first[key], second[key]) for key in first if key in second)


def agree(tufts: Sequence[TuftPair], apart_rad: float = math.radians(30.0)) -> TuftAgreement:
    """Share, Cohen's kappa and mean turn over tufts, and which of them are apart.

    apart_rad: a turn of so much is called apart; 30°: common practice, no source.
    """
    judged = [(p.first.condition, p.second.condition) for p in tufts if p.same_condition is not None]
    table = cross_table([one for one, _ in judged], [two for _, two in judged], CONDITIONS)
    turns = [p.turn_rad for p in tufts if p.turn_rad is not None]
    apart = [p for p in tufts if p.same_condition is False or abs(p.turn_rad or 0.0) > apart_rad]
    apart.sort(key=lambda p: -abs(p.turn_rad or 0.0))
    told = circular_mean(turns) if turns else None
    few = max(len(judged), len(turns)) < FEW_FOR_SURE
    return TuftAgreement(len(tufts), agreement(table, CONDITIONS), told, tuple(apart), few)


def agree_by(tufts: Sequence[TuftPair], key: Callable[[TuftPair], str]) -> dict[str, TuftAgreement]:
    """The same for each part, photo or setup, as the key tells them apart."""
    groups: dict[str, list[TuftPair]] = {}
    for pair in tufts:
        groups.setdefault(key(pair), []).append(pair)
    return {name: agree(group) for name, group in groups.items()}


@dataclass(frozen=True, slots=True)
class Moved:
    """What a tuft does in another setup: turn of its direction with the half width of its 95 % interval.

    moved: whether the interval leaves out 0. photos: of each setup. conditions: commonest of each setup.
    """

    part: str
    station: str
    turn_rad: float
    half95_rad: float
    moved: bool
    photos: tuple[int, int]
    conditions: tuple[Condition | None, Condition | None]


def moved(part: str, station: str, one: Sequence[Reading], other: Sequence[Reading]) -> Moved | None:
    """The turn of a tuft from one setup to another, from its readings on photos of each; None without both.

    u² = Σ s²/n over both setups, s of the photos of one setup about their mean, no less than reading and wandering
    (`WANDER_DEG`) let expect; Student's t with the degrees of freedom of Welch and Satterthwaite (GUM, JCGM 100:2008,
    G.4.1). A setup with one photo has the s that is expected, or the other setup's where that is more.
    """
    sides = [[r for r in side if r.direction_rad is not None] for side in (one, other)]
    if not all(sides):
        return None
    means = [circular_mean([r.direction_rad or 0.0 for r in side]).mean_rad for side in sides]
    turn = difference(means[1], means[0])
    seen = [_variance(side, mean) for side, mean in zip(sides, means, strict=True)]
    wider = max(range(2), key=lambda k: seen[k][0])
    borrowed = len(sides[1 - wider]) == 1 < len(sides[wider])
    if borrowed:
        seen[1 - wider] = seen[wider]
    parts = [each / len(side) for (each, _), side in zip(seen, sides, strict=True)]
    variance = sum(parts)
    loss = sum(part**2 / dof for part, (_, dof) in zip(parts, seen, strict=True))
    dof = seen[wider][1] if borrowed else variance**2 / loss if loss > 0.0 else math.inf
    factor = float(t.ppf(0.975, dof)) if math.isfinite(dof) else _NORMAL_95
    half = min(factor * math.sqrt(variance), math.pi)
    kept = (_commonest(one), _commonest(other))
    return Moved(part, station, turn, half, abs(turn) > half, (len(sides[0]), len(sides[1])), kept)


def _variance(side: Sequence[Reading], mean: float) -> tuple[float, float]:
    """Variance of one photo's direction, and its degrees of freedom."""
    n = len(side)
    expected = float(np.mean([_expected(r) for r in side]))
    if n == 1:
        return expected, math.inf
    seen = sum(difference(r.direction_rad or 0.0, mean) ** 2 for r in side) / (n - 1)
    return max(seen, expected), n - 1.0


def _expected(one: Reading) -> float:
    read = PERSON_U_RAD if one.u_rad is None else one.u_rad
    return read**2 + math.radians(WANDER_DEG[one.condition]) ** 2


def _commonest(side: Sequence[Reading]) -> Condition | None:
    counts = [sum(r.condition == one for r in side) for one in CONDITIONS]
    return CONDITIONS[counts.index(max(counts))] if any(counts) else None
