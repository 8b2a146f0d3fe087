"""How narrow the day's intervals are wanted: kept with the day, typed or taken from a plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from server.days.change import Change, plain
from server.days.form_fields import Form, Typed, number_field, typed_number
from server.testday import folder_keys as keys
from server.testday.quantities import from_si
from server.testday.values import Day, WantedWidth

EACH = "each"
EACH_WORDS = "Each setup's drag area, ±"


def wanted_area(day: Day) -> float | None:
    """The wanted half width U95 of each area [m²], where somebody said one."""
    return next((one.u95_m2 for one in day.wanted if not one.setup), None)


def wanted_differences(day: Day) -> dict[tuple[str, str], float]:
    """(setup, baseline) → wanted half width U95 of the difference [m²], where somebody said one."""
    return {(one.setup, one.baseline): one.u95_m2 for one in day.wanted if one.setup}


def wanted_source(day: Day) -> str:
    """Who says so, in a word for the page: a plan's name, or nothing where it was typed or is the usual one."""
    return next((one.source for one in day.wanted if one.source), "")


def form(day: Day, slug: str) -> Form:
    """One number for all areas, one for each difference against a baseline."""
    said = {(one.setup, one.baseline): one.u95_m2 for one in day.wanted}
    fields = [number_field(EACH, EACH_WORDS, keys.WANTED_U95, said.get(("", "")))]
    for place, setup in enumerate(day.setups, 1):
        if setup.baseline:
            label = f"Difference {setup.name} − {setup.baseline}, ±"
            width = said.get((setup.name, setup.baseline))
            fields.append(number_field(f"difference_{place}", label, keys.WANTED_U95, width))
    return Form(slug, "Wanted intervals", wanted_text(day), tuple(fields))


def change(day: Day, _slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    widths = []
    each = typed_number(typed, EACH, EACH_WORDS.removesuffix(", ±"), keys.WANTED_U95)
    if each is not None:
        widths.append(WantedWidth(each))
    for place, setup in enumerate(day.setups, 1):
        label = f"The difference {setup.name} − {setup.baseline}"
        width = typed_number(typed, f"difference_{place}", label, keys.WANTED_U95) if setup.baseline else None
        if width is not None:
            widths.append(WantedWidth(width, setup.name, setup.baseline or ""))
    before = {(one.setup, one.baseline): one for one in day.wanted}
    kept = tuple(_as_before(one, before.get((one.setup, one.baseline))) for one in widths)
    return change_wanted(day, kept)


def _as_before(one: WantedWidth, before: WantedWidth | None) -> WantedWidth:
    """A width that was not typed over keeps its source."""
    return before if before is not None and before.u95_m2 == one.u95_m2 else one


def change_wanted(day: Day, widths: Sequence[WantedWidth]) -> Change:
    """Other wanted widths."""
    changed = replace(day, wanted=tuple(widths))
    before, after = [plain(one) for one in day.wanted], [plain(one) for one in widths]
    return Change(changed, "wanted-changed", "wanted intervals", before, after, f"wanted: {wanted_text(changed)}")


def wanted_text(day: Day) -> str:
    """All of them in one line."""
    told = [f"{_name(one)} ± {float(from_si(one.u95_m2, 'm2')):g} m²" for one in day.wanted]
    return ", ".join(told) or "nothing said"


def _name(one: WantedWidth) -> str:
    return f"{one.setup} − {one.baseline}" if one.baseline else one.setup or "each area"
