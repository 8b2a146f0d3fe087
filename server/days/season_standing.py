"""What stands: of each setup the best estimate over the days that measured it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.days.season import Measured, SeasonDay, SetupKey
from server.inference.between_days import Between, OverDays, over_days, own_part, pooled_between, u95_with_another_day

APART_P = 0.01


@dataclass(frozen=True, slots=True)
class Stand:
    """A quantity of a setup: of one day as that day has it, of several as `over` says."""

    value: float
    u: float
    u95: float
    unit: str
    days: int
    over: OverDays | None = None

    @property
    def apart(self) -> bool:
        """Whether the days lie further apart than their own errors explain."""
        return self.over is not None and self.over.spread_p < APART_P

    @property
    def with_another(self) -> float | None:
        """U95 with one more day like these."""
        return None if self.over is None else u95_with_another_day(self.over)


@dataclass(frozen=True, slots=True)
class Standing:
    """A setup over its days, the newest first; stands by quantity, only those that were measured."""

    key: SetupKey
    days: tuple[SeasonDay, ...]
    stands: Mapping[str, Stand]


def standings(days: Sequence[SeasonDay], quantities: Sequence[str]) -> list[Standing]:
    """Every setup that was measured, the one of the newest day first.

    How far days differ is taken from all setups of a car together, for those with fewer days than the car has.
    """
    found: dict[SetupKey, list[tuple[SeasonDay, Measured]]] = {}
    for day in sorted(days, key=lambda one: (one.day, one.id), reverse=True):
        for one in day.measured:
            found.setdefault(one.key, []).append((day, one))
    told = {(key, name): _told(of_days, name) for key, of_days in found.items() for name in quantities}
    between = {
        (car, name): _between([told[key, name] for key in found if key.car == car])
        for car in {key.car for key in found}
        for name in quantities
    }
    return [
        Standing(
            key,
            tuple(day for day, _ in of_days),
            {name: _stand(told[key, name], between[key.car, name]) for name in quantities if told[key, name]},
        )
        for key, of_days in found.items()
    ]


@dataclass(frozen=True, slots=True)
class _Told:
    """A value of one day with what of its u is the day's own, and what days share."""

    day_id: int
    value: Mapping[str, Any]
    own_u: float
    shared_u: float


def _told(of_days: Sequence[tuple[SeasonDay, Measured]], name: str) -> list[_Told]:
    """What was typed, predicted or assumed is no measurement and is left out."""
    found = []
    for day, one in of_days:
        value = one.estimates.get(name)
        if value is not None and value["source"] == "measured":
            shared = one.shared_u.get(name, value["u"])
            found.append(_Told(day.id, value, own_part(value["u"], shared), shared))
    return found


def _between(setups: Sequence[Sequence[_Told]]) -> Between | None:
    several = [told for told in setups if len(told) > 1]
    groups = [([one.value["value"] for one in told], [one.own_u for one in told]) for told in several]
    return pooled_between(groups, len({one.day_id for told in several for one in told}))


def _stand(told: Sequence[_Told], between: Between | None) -> Stand:
    newest = told[0].value
    if len(told) == 1:
        return Stand(newest["value"], newest["u"], 0.5 * (newest["high95"] - newest["low95"]), newest["unit"], 1)
    own, shared = [one.own_u for one in told], [one.shared_u for one in told]
    over = over_days([one.value["value"] for one in told], own, shared, between)
    return Stand(over.value, over.u, over.u95, newest["unit"], len(told), over)
