"""Bounds of readings of tufts that pages tell, apart from the mathematics: nothing heavy is imported for them."""

from __future__ import annotations

LEAST_FRAMES = 3  # of a burst, from which a spread is told
MOST_FRAMES = 20  # that are laid over each other
