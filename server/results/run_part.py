"""The part of a result that tells of one run, read without the rest, so that a day of fifty runs is quick to see."""

from __future__ import annotations

import zipfile
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np

from server.analysis.result import DayResult
from server.results.codec import array_of, result_of_tree, tree_of

TREES_IN_MEMORY = 4
PARTS_IN_MEMORY = 64
WHOLE_DAY = ("comparisons", "source_checks", "stand_tests")  # of a result
WHOLE_SETUP = ("budget", "at_speeds", "visited")  # of a setup

Tree = dict[str, Any]


class RunParts:
    """Parts of results by the result's SHA-256 and the run's number; the last few are kept in memory."""

    def __init__(self, path: Callable[[str], Path]) -> None:
        self._path = path
        self._trees: OrderedDict[str, Tree] = OrderedDict()
        self._parts: OrderedDict[tuple[str, int, bool], DayResult] = OrderedDict()
        self._lock = Lock()

    def of(self, sha256: str, run: int, arrays: bool = False) -> DayResult:
        """All setups with their estimates, but passes, fits and findings of this run alone.

        arrays: with what the fits say reading by reading; without, those are empty.
        """
        key = (sha256, run, arrays)
        with self._lock:
            if key in self._parts:
                self._parts.move_to_end(key)
                return self._parts[key]
            if sha256 not in self._trees:
                self._trees[sha256] = _tree(self._path(sha256))
            tree = self._trees[sha256]
            _let_go(self._trees, sha256, TREES_IN_MEMORY)
        part = _read(self._path(sha256), only(tree, run), arrays)
        with self._lock:
            self._parts[key] = part
            _let_go(self._parts, key, PARTS_IN_MEMORY)
        return part


def part_of(result: DayResult, run: int) -> DayResult:
    """The same of a result that is there whole."""
    setups = tuple(
        replace(
            one,
            passes=tuple(each for each in one.passes if each.run == run),
            fits=tuple(fit for fit in one.fits if fit.of.run == run),
            interval_method=None,
            sample_scx=None,
            bend=None,
            budget=(),
            at_speeds=(),
            visited=(),
        )
        for one in result.setups
    )
    found = tuple(one for one in result.findings if one.run == run)
    return replace(result, setups=setups, findings=found, comparisons=(), source_checks=(), stand_tests=(), joint={})


def only(tree: Tree, run: int) -> Tree:
    """A result's tree without what tells of other runs or of the whole day."""
    setups = [
        {
            **one,
            **{name: [] for name in WHOLE_SETUP},
            "passes": [each for each in one["passes"] if each["run"] == run],
            "fits": [fit for fit in one["fits"] if fit["of"]["run"] == run],
            "interval_method": None,
            "sample_scx": None,
            "bend": None,
        }
        for one in tree["setups"]
    ]
    findings = [one for one in tree["findings"] if one["run"] == run]
    return {**tree, **{name: [] for name in WHOLE_DAY}, "joint": {}, "setups": setups, "findings": findings}


def _tree(file: Path) -> Tree:
    with zipfile.ZipFile(file) as archive:
        return tree_of(archive)


def _read(file: Path, tree: Tree, arrays: bool) -> DayResult:
    if not arrays:
        return result_of_tree(tree, lambda _: np.empty(0))
    with zipfile.ZipFile(file) as archive:
        return result_of_tree(tree, lambda number: array_of(archive, number))


def _let_go(held: OrderedDict[Any, Any], newest: Any, most: int) -> None:
    held.move_to_end(newest)
    while len(held) > most:
        held.popitem(last=False)
