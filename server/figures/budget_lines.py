"""Which lines of an uncertainty budget are shown, and in which order."""

from __future__ import annotations

import math

from server.analysis.result import BudgetLine

QUANTITY = "SCx"
MOST_BARS = 6


def budget_lines(lines: tuple[BudgetLine, ...], quantity: str = QUANTITY) -> list[BudgetLine]:
    """The lines of one quantity, largest contribution first."""
    return sorted((line for line in lines if line.quantity == quantity), key=lambda line: -line.contribution)


def largest_lines(lines: tuple[BudgetLine, ...], most: int = MOST_BARS, quantity: str = QUANTITY) -> list[BudgetLine]:
    """The largest `most` lines, the others put together as one: the root of their summed squares."""
    ordered = budget_lines(lines, quantity)
    if len(ordered) <= most + 1:
        return ordered
    rest = math.sqrt(sum(line.contribution**2 for line in ordered[most:]))
    name = f"the {len(ordered) - most} others together"
    return [*ordered[:most], BudgetLine(quantity, name, None, None, "", None, rest, "B", "default")]
