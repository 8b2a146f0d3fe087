"""What stands: of each setup the best estimate over the days that measured it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from server.days.season import Measured, SeasonDay, SetupKey
from server.inference.between_days import OverDays, over_days, own_part, u95_with_another_day

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
    """Every setup that was measured, the one of the newest day first."""
    found: dict[SetupKey, list[tuple[SeasonDay, Measured]]] = {}
    for day in sorted(days, key=lambda one: (one.day, one.id), reverse=True):
        for one in day.measured:
            found.setdefault(one.key, []).append((day, one))
    return [
        Standing(key, tuple(day for day, _ in of_days), _stands([one for _, one in of_days], quantities))
        for key, of_days in found.items()
    ]


def _stands(measured: Sequence[Measured], quantities: Sequence[str]) -> dict[str, Stand]:
    """What was typed, predicted or assumed is no measurement and is left out."""
    stands = {}
    for name in quantities:
        told = [one for one in measured if one.estimates.get(name, {}).get("source") == "measured"]
        if told:
            stands[name] = _stand([one.estimates[name] for one in told], [one.shared_u.get(name) for one in told])
    return stands


def _stand(values: Sequence[Mapping[str, Any]], shared: Sequence[float | None]) -> Stand:
    newest = values[0]
    if len(values) == 1:
        return Stand(newest["value"], newest["u"], 0.5 * (newest["high95"] - newest["low95"]), newest["unit"], 1)
    common = [one["u"] if part is None else part for one, part in zip(values, shared, strict=True)]
    own = [own_part(one["u"], part) for one, part in zip(values, common, strict=True)]
    over = over_days([one["value"] for one in values], own, common)
    return Stand(over.value, over.u, over.u95, newest["unit"], len(values), over)
