"""What moved from one result of a day to the next, and by how much."""

from __future__ import annotations

from typing import Any

from server.results.summary import Summary

LEAST = 1e-9  # relative: less is the last digits of the same number


def moved(before: Summary, after: Summary) -> list[dict[str, Any]]:
    """One line per setup and quantity whose value or interval differs; None where it was or is not there.

    u_before, u_after: standard uncertainties; both fits share nearly all of their data, so the change itself is
    no measurement and gets no interval.
    """
    old, new = _values(before), _values(after)
    lines = []
    for setup, quantity in dict.fromkeys([*old, *new]):
        was, now = old.get((setup, quantity)), new.get((setup, quantity))
        if was is None or now is None or _differs(was, now):
            lines.append(
                {
                    "setup": setup,
                    "quantity": quantity,
                    "unit": (now or was or {}).get("unit", "1"),
                    "before": was and was["value"],
                    "u_before": was and was["u"],
                    "after": now and now["value"],
                    "u_after": now and now["u"],
                }
            )
    return lines


def _values(summary: Summary) -> dict[tuple[str, str], dict[str, Any]]:
    return {(setup["setup"], name): value for setup in summary["setups"] for name, value in setup["estimates"].items()}


def _differs(was: dict[str, Any], now: dict[str, Any]) -> bool:
    return any(abs(was[key] - now[key]) > LEAST * max(abs(was["value"]), 1e-12) for key in ("value", "u"))
