"""By part: what a part was predicted to make, on itself and of the whole, beside what taking it off really changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.analysis.correlated import Correlated
from server.analysis.correlation_match import area_of
from server.testday.values import PredictionCase, Setup

AREAS = ("SCx", "SCz_front", "SCz_rear")
OFF = frozenset({"", "0", "0.0", "no", "none", "off", "without", "removed", "false"})


@dataclass(frozen=True, slots=True)
class PartShare:
    """A part's predicted areas in a setup [m²], means over its cases; share: of the whole car's."""

    setup: str
    part: str
    areas: Mapping[str, float]
    share: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class PartTest:
    """A change that took a part off or put it on. sign: +1 where the setup has it and its baseline has not.

    on_itself: predicted on the part alone [m²]; whole: predicted change of the whole car; the rest is what the part
    does to its neighbours. measured is the change that the track told, of the same sign: with less without.
    """

    change: Correlated
    part: str
    sign: int
    on_itself: float
    whole: float | None
    measured: float
    measured_u: float

    @property
    def on_others(self) -> float | None:
        """What the part was predicted to do to the rest of the car."""
        return None if self.whole is None else self.whole - self.on_itself


def part_shares(cases: Sequence[PredictionCase]) -> tuple[PartShare, ...]:
    """Every part of every setup, in the order of the cases."""
    found = []
    for setup in dict.fromkeys(case.setup for case in cases):
        whole = _mean([case for case in cases if case.setup == setup and not case.part])
        for part in dict.fromkeys(case.part for case in cases if case.setup == setup and case.part):
            mine = _mean([case for case in cases if case.setup == setup and case.part == part])
            share = {area: mine[area] / whole[area] for area in mine if whole.get(area)}
            found.append(PartShare(setup, part, mine, share))
    return tuple(found)


def _mean(cases: Sequence[PredictionCase]) -> dict[str, float]:
    told = {area: [known.value for case in cases if (known := area_of(case, area)) is not None] for area in AREAS}
    return {area: sum(values) / len(values) for area, values in told.items() if values}


def part_tests(
    changes: Sequence[Correlated], cases: Sequence[PredictionCase], setups: Mapping[str, Setup]
) -> tuple[PartTest, ...]:
    """Changes of areas that are the removal or the addition of one part whose own areas were predicted.

    A part is told by name: predicted of one of the two setups alone, or recorded on one of them alone.
    """
    shares = {(one.setup, one.part): one for one in part_shares(cases)}
    found = []
    for change in changes:
        if change.quantity not in AREAS or change.against is None:
            continue
        told = _one_part(change.setup, change.against, shares, setups)
        if told is None:
            continue
        part, sign = told
        own = shares[change.setup if sign > 0 else change.against, part].areas.get(change.quantity)
        if own is not None:
            whole = None if change.predicted is None else sign * change.predicted
            measured = sign * change.measured.value
            found.append(PartTest(change, part, sign, own, whole, measured, change.measured.u))
    return tuple(found)


def _one_part(
    setup: str, baseline: str, shares: Mapping[tuple[str, str], PartShare], setups: Mapping[str, Setup]
) -> tuple[str, int] | None:
    ours, theirs = ({part for name, part in shares if name == which} for which in (setup, baseline))
    recorded = _recorded(setups.get(setup), setups.get(baseline), ours | theirs)
    if recorded:
        part, sign = recorded[0]
        return recorded[0] if len(recorded) == 1 and part in (ours if sign > 0 else theirs) else None
    if ours and theirs and len(ours ^ theirs) == 1:
        (part,) = ours ^ theirs
        return part, 1 if part in ours else -1
    return None


def _recorded(setup: Setup | None, baseline: Setup | None, parts: set[str]) -> list[tuple[str, int]]:
    """Predicted parts that the records of the two setups have on one side alone."""
    if setup is None or baseline is None:
        return []
    on = [{_plain(key): _is_on(value) for key, value in one.parts.items()} for one in (setup, baseline)]
    differing = []
    for part in sorted(parts):
        here, there = (one.get(_plain(part)) for one in on)
        if here is not None and there is not None and here != there:
            differing.append((part, 1 if here else -1))
    return differing


def _is_on(value: str | float | bool) -> bool:
    return str(value).strip().casefold() not in OFF


def _plain(name: str) -> str:
    return " ".join(name.replace("_", " ").replace("-", " ").casefold().split())
