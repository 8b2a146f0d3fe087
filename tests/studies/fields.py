"""Fields of a scenario as words of a command: 'pairs=4' → ('pairs', 4), by the types of Scenario."""

from __future__ import annotations

import argparse
import typing
from typing import Any

from tests.simulator import Scenario

TRUTH = {"true": True, "false": False}


def scenario_field(text: str) -> tuple[str, Any]:
    """Name and value; lists are parted by commas: speeds_mps=28,8 or load_sources=damper,push rod."""
    name, _, value = text.partition("=")
    kinds = typing.get_type_hints(Scenario)
    if name not in kinds:
        raise argparse.ArgumentTypeError(f"a scenario has no field {name!r}; it has {', '.join(kinds)}")
    try:
        return name, _value(kinds[name], value)
    except (KeyError, ValueError) as error:
        raise argparse.ArgumentTypeError(f"{value!r} is no value for {name}: {error}") from error


def _value(kind: Any, value: str) -> Any:
    if kind is bool:
        return TRUTH[value.lower()]
    if kind in (int, float, str):
        return kind(value)
    if typing.get_origin(kind) is tuple:
        return _tuple(typing.get_args(kind), [part.strip() for part in value.split(",") if part.strip()])
    allowed = [v for part in typing.get_args(kind) for v in (typing.get_args(part) or (part,))]
    if value not in allowed:
        raise ValueError(f"it is one of {', '.join(map(str, allowed))}")
    return value


def _tuple(kinds: tuple[Any, ...], parts: list[str]) -> tuple[Any, ...]:
    if Ellipsis in kinds:
        return tuple(kinds[0](part) for part in parts)
    return tuple(kind(part) for kind, part in zip(kinds, parts, strict=True))
