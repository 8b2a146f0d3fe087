"""Which figures a result's page shows, of what, and which parts it has."""

from __future__ import annotations

from dataclasses import dataclass

from server.analysis.result import DayResult
from server.figures.budget_lines import QUANTITY
from server.figures.names import plain_name
from server.figures.quantity import QUANTITIES
from server.results.figure_words import figure_words
from server.results.load_sentences import SOURCE_NAMES

# Parts that only a day with loads or stand tests has, and the figures that they show.
NEEDS = {"loads": {"axle-loads"}, "downforce": {"downforce"}, "heights": {"ride-heights", "visited"}}


@dataclass(frozen=True, slots=True)
class Choice:
    """Something that a figure can be drawn of: its words, the figure's name with it, whether it is shown."""

    words: str
    name: str
    shown: bool


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure as a page shows it; choices are empty where there is nothing to choose."""

    name: str
    words: str
    choices: tuple[Choice, ...]


def page_figures(result: DayResult, show: str) -> dict[str, Figure]:
    """The result's figures by their plain names; the one that `show` names is drawn of its choice."""
    from server.figures.catalogue import figure_names

    return {name: _figure(name, show, result) for name in figure_names(result)}


def _figure(name: str, show: str, result: DayResult) -> Figure:
    from server.figures.catalogue import choice_names

    choices = choice_names(name, result)
    shown = show if show in choices.values() else name
    links = (Choice(_choice_words(one), each, each == shown) for one, each in choices.items())
    return Figure(shown, figure_words(shown), tuple(links))


def _choice_words(choice: str) -> str:
    return QUANTITIES[choice].symbol if choice in QUANTITIES else SOURCE_NAMES.get(choice, choice)


def budget_of(result: DayResult, show: str) -> str:
    """The quantity whose budget `show` names, else the first."""
    from server.figures.catalogue import choice_names

    found = (quantity for quantity, name in choice_names("budget", result).items() if name == show)
    return next(found, QUANTITY) if plain_name(show) == "budget" else QUANTITY


def has_section(section: str, result: DayResult, figures: dict[str, Figure]) -> bool:
    """Whether a day has such a part: one without load sensors shows no empty places for them."""
    if section == "stands":
        return bool(result.stand_tests)
    return section not in NEEDS or bool(NEEDS[section] & set(figures))
