"""Warming compiles the filter that a fit uses, so that the fit compiles nothing more."""

from server.inference.augmented_filter import _whiten
from server.inference.warm import warm


def test_warming_leaves_one_compiled_signature() -> None:
    warm()
    before = len(_whiten.signatures)
    warm()
    assert before == len(_whiten.signatures) == 1
