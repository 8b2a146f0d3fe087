"""Numbers that loggers write where they have none: −9999, 1e30 and their like."""

from __future__ import annotations

import numpy as np

from server.testday.values import FloatArray

HUGE = 1e29
# numbers that mean "none" wherever nothing else comes near them
_CERTAIN = (-9999.0, -99999.0, -999999.0, -9999.9, -9999.99, -9999.25, -999.25, -99999.9, -9998.0, -9999999.0)
# and those that mean it only where the rest of the channel stays far below
_LIKELY = (
    *(-999.0, -999.9, -999.99, 9999.0, 99999.0, 999999.0, 9999.9, 9999.99, 9999999.0),
    *(-32768.0, 32767.0, 65535.0, 65534.0, -2147483648.0, 2147483647.0, 4294967295.0),
)

_FAR = 5.0


def find_sentinels(values: FloatArray) -> dict[float, int]:
    """Return the numbers that stand for "no sample" and how often each stands.

    values: one channel without blanks, shape (n,). A certain one must lie outside the range of the rest;
    a likely one must exceed five times the largest of the rest. Infinite and ≥ 1e29 always count.
    """
    found: dict[float, int] = {}
    rest = values
    while len(rest):
        low, high = float(rest.min()), float(rest.max())
        suspect = next((v for v in (low, high) if _known(v)), None)
        if suspect is None:
            break
        hit = rest == suspect
        others = rest[~hit]
        if not _means_none(suspect, others):
            break
        found[suspect] = int(np.count_nonzero(hit))
        rest = others
    return found


def _known(value: float) -> bool:
    return abs(value) >= HUGE or value in _CERTAIN or value in _LIKELY


def _means_none(suspect: float, others: FloatArray) -> bool:
    if abs(suspect) >= HUGE or suspect in _CERTAIN:
        return True
    if not len(others):
        return suspect in _LIKELY and abs(suspect) > 9000
    return abs(suspect) > _FAR * max(float(np.abs(others[np.abs(others) < HUGE]).max(initial=0.0)), 1.0)
