"""Words that stand for a state: gear letters, on and off."""

from __future__ import annotations

from collections.abc import Collection

_LETTERS = {"P": 0.0, "N": 0.0, "R": -1.0, "D": 1.0}
_LONG_WORDS = {"PARK": 0.0, "NEUTRAL": 0.0, "REVERSE": -1.0, "DRIVE": 1.0}
_SWITCHES = (
    {"ON": 1.0, "OFF": 0.0},
    {"TRUE": 1.0, "FALSE": 0.0},
    {"YES": 1.0, "NO": 0.0},
    {"ACTIVE": 1.0, "INACTIVE": 0.0},
    {"PRESSED": 1.0, "RELEASED": 0.0},
    {"EIN": 1.0, "AUS": 0.0},
)
GEAR_UNIT = "gear"


def gear_values(words: Collection[str]) -> dict[str, float] | None:
    """Map gear letters to numbers (R −1, N and P 0, D 1, digits themselves); None where a word is no gear."""
    values = {word: _gear(word.strip().upper()) for word in words}
    letters = [word for word in words if not word.strip().isdigit()]
    if not letters or any(value is None for value in values.values()):
        return None
    return {word: value for word, value in values.items() if value is not None}


def switch_values(words: Collection[str]) -> dict[str, float] | None:
    """Map on/off, true/false and their like to 1 and 0; None where the words are no such pair."""
    upper = {word.strip().upper() for word in words}
    table = next((pair for pair in _SWITCHES if upper <= pair.keys()), None)
    return {word: table[word.strip().upper()] for word in words} if table and upper else None


def _gear(word: str) -> float | None:
    if word in _LETTERS or word in _LONG_WORDS:
        return _LETTERS.get(word, _LONG_WORDS.get(word))
    if word.isascii() and word.isdigit() and len(word) <= 2:
        return float(word)
    if len(word) == 2 and word[0] in "DGM" and word[1].isascii() and word[1].isdigit():
        return float(word[1])
    return None
