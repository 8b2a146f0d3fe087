"""An early estimate as the job of its fit shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from server.analysis.result import DayResult, SetupResult

SHOWN = ("SCx", "SCz", "balance_front")


def early_setups(result: DayResult | None) -> list[dict[str, Any]]:
    """Its setups with their areas, as JSON; none where there is no estimate."""
    return [_setup(one) for one in result.setups if "SCx" in one.estimates] if result else []


def _setup(setup: SetupResult) -> dict[str, Any]:
    values = {name: [one.value, one.u, one.u95] for name, one in setup.estimates.items() if name in SHOWN}
    used = sum(one.used and one.kind == "coast-down" for one in setup.passes)
    return {"name": setup.name, "values": values, "coast_downs": used}
