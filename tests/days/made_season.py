"""Days of a season made of nothing but their numbers: names, cars and values are invented."""

from __future__ import annotations

import datetime as dt
from typing import Any

from server.days.facts import Brief, SetupFacts
from server.days.season import NoResult, SeasonDay, season_day
from server.days.tables import StoredDay


def value(number: float, u: float, source: str = "measured", unit: str = "m²") -> dict[str, Any]:
    low, high = number - 1.96 * u, number + 1.96 * u
    return {"value": number, "u": u, "low95": low, "high95": high, "unit": unit, "source": source}


def of_setup(name: str, scx: float, u: float = 0.02, shared: float = 0.01, **more: Any) -> dict[str, Any]:
    estimates = {"SCx": value(scx, u), **more}
    return {"setup": name, "passes": 8, "estimates": estimates, "shared_u": {"SCx": shared}, "why": ""}


def made_day(
    number: int,
    date: dt.date | None,
    setups: list[dict[str, Any]],
    *,
    flap: float | str = 30.0,
    car: str = "Wisp 5",
    asking: list[dict[str, Any]] | None = None,
    missing: NoResult | None = None,
    heights: tuple[float | None, float | None] = (34.0, 38.0),
) -> SeasonDay:
    stored = StoredDay(id=number, name=f"Day {number}", date=date, added_at=dt.datetime(2026, 5, 9, tzinfo=dt.UTC))
    recorded = tuple(SetupFacts(one["setup"], None, heights, {"rear_flap_deg": flap}, "") for one in setups)
    brief = Brief(car=car, venue="Long apron", reference_speed_mps=22.0, setups=recorded, runs=6)
    return season_day(stored, brief, brief, {"setups": setups, "asking": asking or []}, missing)
