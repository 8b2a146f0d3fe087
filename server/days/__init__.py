"""Test days: what was sent of each, and how a day comes in."""
