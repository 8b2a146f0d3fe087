"""What an event tells, in a line of a list; its own page has every digit."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from server.testday.setting_names import as_said

LONGEST = 240
SHOWN_OF_HASH = 12
FILES_NAMED = 3
HASH = re.compile(r"[0-9a-f]{64}")


def brief(value: Any) -> str:
    """A JSON value as words: hashes by their beginning, numbers to six digits and their units, many hashes counted."""
    words = _brief(value)
    return words if len(words) <= LONGEST else f"{words[:LONGEST].rstrip()}…"


def _brief(value: Any) -> str:
    if isinstance(value, Mapping):
        if len(value) > FILES_NAMED and all(isinstance(one, str) and HASH.fullmatch(one) for one in value.values()):
            return f"{len(value)} of them"
        return ", ".join(as_said(str(key), _brief(one)) for key, one in value.items())
    if isinstance(value, list):
        return "; ".join(_brief(one) for one in value) or "none"
    return _single(value)


def _single(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    return f"{value[:SHOWN_OF_HASH]}…" if isinstance(value, str) and HASH.fullmatch(value) else str(value)
