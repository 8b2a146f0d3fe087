"""How the quantities of a setup are written on figures and in budgets: symbol, unit on screen, factor from SI."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """Symbol as it stands in u(…), unit of a difference or an uncertainty on screen, factor from its own unit."""

    symbol: str
    unit: str
    factor: float = 1.0


QUANTITIES = {
    "SCx": Quantity("SCx", "m²"),
    "SCx_apparent": Quantity("SCx as coasting sees it", "m²"),
    "SCz_front": Quantity("SCz front", "m²"),
    "SCz_rear": Quantity("SCz rear", "m²"),
    "SCz": Quantity("SCz", "m²"),
    "balance_front": Quantity("balance", "points", 100.0),
    "LD": Quantity("L/D", "1"),
}


def quantity_of(name: str) -> Quantity:
    """How a quantity is written; one that is not listed stands under its own name."""
    return QUANTITIES.get(name, Quantity(name, "1"))


def in_order(names: set[str]) -> list[str]:
    """Listed quantities in their order."""
    return [name for name in QUANTITIES if name in names]
