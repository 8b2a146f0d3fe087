"""Stillair: drag and downforce areas from a test day on a straight."""

__version__ = "0.1.0"
