"""The figures of a day's result by their name in addresses, each with the table behind it.

A figure with a choice (the quantity of a budget, the source of a load) is named with it: `budget-of-SCz`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from plotly import graph_objects as go

from server.analysis.result import DayResult
from server.figures.axle_loads import axle_loads, axle_loads_table
from server.figures.budget import budget, budget_table
from server.figures.budget_lines import QUANTITY
from server.figures.comparisons import comparisons, comparisons_table
from server.figures.downforce import downforce, downforce_table
from server.figures.fits import load_sources
from server.figures.forest import forest, forest_table
from server.figures.innovations import innovations, innovations_table
from server.figures.joint_friction import friction_sources, joint_friction, joint_friction_table
from server.figures.names import named, plain_name
from server.figures.over_speed import height_curves
from server.figures.passes_over_speed import passes_over_speed, passes_over_speed_table
from server.figures.quantity import in_order
from server.figures.ride_heights import ride_heights, ride_heights_table
from server.figures.table import Table
from server.figures.theme import drawing
from server.figures.two_methods import two_methods, two_methods_table
from server.figures.visited_heights import visited_heights, visited_heights_table


def _no_choice(_: DayResult) -> Sequence[str]:
    return ()


@dataclass(frozen=True, slots=True)
class Plot:
    """A figure and its table; choices: what it can be drawn of, the first by its plain name."""

    draw: Callable[..., go.Figure]
    table: Callable[..., Table]
    choices: Callable[[DayResult], Sequence[str]] = _no_choice


def budget_quantities(result: DayResult) -> list[str]:
    """Quantities that some setup has a budget of; always SCx first."""
    found = {line.quantity for setup in result.setups for line in setup.budget}
    return in_order(found | {QUANTITY})


def changed_quantities(result: DayResult) -> list[str]:
    """Quantities that some comparison tells a difference of; always SCx first."""
    return in_order({name for one in result.comparisons for name in one.deltas} | {QUANTITY})


PLOTS = {
    "passes": Plot(passes_over_speed, passes_over_speed_table),
    "forest": Plot(forest, forest_table),
    "innovations": Plot(innovations, innovations_table),
    "budget": Plot(budget, budget_table, budget_quantities),
    "comparisons": Plot(comparisons, comparisons_table, changed_quantities),
    "two-methods": Plot(two_methods, two_methods_table),
}
# What only a day with axle loads has.
LOAD_PLOTS = {
    "axle-loads": Plot(axle_loads, axle_loads_table, load_sources),
    "friction": Plot(joint_friction, joint_friction_table, friction_sources),
    "visited": Plot(visited_heights, visited_heights_table),
    "ride-heights": Plot(ride_heights, ride_heights_table),
    "downforce": Plot(downforce, downforce_table),
}
_HAS: dict[str, Callable[[DayResult], bool]] = {
    "axle-loads": lambda result: bool(load_sources(result)),
    "friction": lambda result: bool(friction_sources(result)),
    "visited": lambda result: any(setup.visited for setup in result.setups),
    "ride-heights": lambda result: bool(height_curves(result)),
    "downforce": lambda result: any(setup.at_speeds for setup in result.setups),
}


def figure_names(result: DayResult) -> list[str]:
    """The figures that this result has, by their plain names."""
    return [*PLOTS, *(name for name in LOAD_PLOTS if _HAS[name](result))]


def choice_names(name: str, result: DayResult) -> dict[str, str]:
    """Choice → the figure's name with it; empty where there is nothing to choose."""
    choices = (PLOTS | LOAD_PLOTS)[name].choices(result)
    return {one: name if i == 0 else named(name, one) for i, one in enumerate(choices)} if len(choices) > 1 else {}


def find_plot(name: str, result: DayResult) -> Plot | None:
    """The figure of that name, drawn of its choice; None where this result has none."""
    plain = plain_name(name)
    if plain not in figure_names(result):
        return None
    plot = (PLOTS | LOAD_PLOTS)[plain]
    if plain == name:
        return plot
    choice = next((one for one in plot.choices(result) if named(plain, one) == name), None)
    if choice is None:
        return None
    return replace(plot, draw=partial(plot.draw, choice=choice), table=partial(plot.table, choice=choice))


def figure_json(name: str, result: DayResult, narrow: bool) -> str:
    """JSON that the page's plot module draws: the figure in light colours and the swaps that make it dark.

    Raises KeyError for a figure that this result does not have.
    """
    plot = find_plot(name, result)
    if plot is None:
        raise KeyError(name)
    return drawing(plot.draw(result, narrow=narrow))
