"""Names of figures in addresses; a figure with a choice is named with it: `budget-of-SCz`."""

from __future__ import annotations

OF = "-of-"


def named(name: str, choice: str) -> str:
    """A figure's name with its choice."""
    return f"{name}{OF}{choice.replace(' ', '-')}"


def plain_name(name: str) -> str:
    """The name without its choice."""
    return name.partition(OF)[0]
