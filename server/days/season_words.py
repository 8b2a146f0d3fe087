"""The sentence that opens the season, and what to do next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.days.season import SeasonDay
from server.days.season_view import CarStands, StandRow, held

MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class NextAction:
    """The one thing to do next: words of the sentence, words of the button, the day that it opens."""

    words: str
    button: str
    day_id: int


def season_sentence(days: Sequence[SeasonDay], stands: Sequence[CarStands], scope: str) -> str:
    """How much was tested, and what stands of the newest day's setups."""
    setups = {(day.car, name) for day in days for name in day.setups}
    runs = sum(day.runs for day in days)
    counted = f"{_many(len(days), 'test day')}, {_many(runs, 'run')}, {_many(len(setups), 'setup')}{scope}"
    newest = max((day for day in days if day.measured), key=lambda day: (day.day, day.id), default=None)
    car = next((one for one in stands if newest is not None and one.car == newest.car), None)
    if newest is None or car is None:
        return f"{counted}; none has a result yet."
    told = [row for row in car.rows if row.cells and row.cells[0] and any(day == newest.id for day, *_ in row.days)]
    if not told:
        return f"{counted}; the newest that was fitted, {newest.name} ({newest.date}), gave no area."
    values = "; ".join(
        f"{called(row)} at {held(row.cells[0].text)} from {_many(len(row.days), 'day')}" for row in told[:MOST_NAMED]
        if row.cells[0]
    )  # fmt: skip
    more = "" if len(told) <= MOST_NAMED else f", and {len(told) - MOST_NAMED} more below"
    what = f"{newest.name} ({newest.date}), {car.quantities[0]} stands"
    return f"{counted}. Of the newest day that was fitted, {what}: {values}{more}."


def next_action(days: Sequence[SeasonDay]) -> NextAction | None:
    """A stop first, then a day without its result, then checks of the newest day, then the newest day itself."""
    newest_first = sorted(days, key=lambda one: (one.day, one.id), reverse=True)
    stops = [day for day in newest_first if any(one.grade == "stop" for one in day.asking)]
    if stops:
        number = sum(one.grade == "stop" for day in stops for one in day.asking)
        verb = "says" if number == 1 else "say"
        words = f"{_many(number, 'finding')} {verb} stop; begin with {stops[0].name} ({stops[0].date})."
        return NextAction(words, f"Open {stops[0].name}", stops[0].id)
    failed = [day for day in newest_first if day.no_result and day.no_result.state not in ("waits", "runs")]
    if failed:
        words = f"{_many(len(failed), 'day')} without the result of how it stands; begin with {failed[0].name}."
        return NextAction(words, f"Open {failed[0].name}", failed[0].id)
    checks = [day for day in newest_first if day.asking]
    if checks:
        number = sum(len(day.asking) for day in checks)
        verb = "asks" if number == 1 else "ask"
        words = f"{_many(number, 'finding')} {verb} for a look; those of {checks[0].name} are the newest."
        return NextAction(words, f"Open {checks[0].name}", checks[0].id)
    if not newest_first:
        return None
    return NextAction("Nothing asks for a person.", f"Open {newest_first[0].name}", newest_first[0].id)


def called(row: StandRow) -> str:
    """A setup's name; with its numbered letter where the name had other parts on other days."""
    return row.name if row.letter.label == row.letter.mark.letter else f"{row.name} ({row.letter.label})"


def _many(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
