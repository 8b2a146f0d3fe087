"""The figures of a day's result by their name in addresses, each with the table behind it."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass

from plotly import graph_objects as go

from server.analysis.result import DayResult
from server.figures.budget import budget, budget_table
from server.figures.comparisons import comparisons, comparisons_table
from server.figures.forest import forest, forest_table
from server.figures.innovations import innovations, innovations_table
from server.figures.passes_over_speed import passes_over_speed, passes_over_speed_table
from server.figures.table import Table
from server.figures.theme import LIGHT_TO_DARK
from server.figures.two_methods import two_methods, two_methods_table


@dataclass(frozen=True, slots=True)
class Plot:
    """A figure and its table."""

    draw: Callable[[DayResult, bool], go.Figure]
    table: Callable[[DayResult], Table]


PLOTS = {
    "passes": Plot(passes_over_speed, passes_over_speed_table),
    "forest": Plot(forest, forest_table),
    "innovations": Plot(innovations, innovations_table),
    "budget": Plot(budget, budget_table),
    "comparisons": Plot(comparisons, comparisons_table),
    "two-methods": Plot(two_methods, two_methods_table),
}


def figure_json(name: str, result: DayResult, narrow: bool) -> str:
    """JSON that the page's plot module draws: the figure in light colours and the swaps that make it dark."""
    figure = PLOTS[name].draw(result, narrow)
    return f'{{"figure":{figure.to_json()},"dark":{json.dumps(LIGHT_TO_DARK)}}}'
