"""Any form sent back as it came changes nothing, to the last digit: units go out to the screen and home again."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from server.days.car_view import car_view
from server.days.changes import plain
from server.days.form_fields import FieldError, Form, Typed
from server.days.forms import change_of, form_of
from server.testday.quantities import UNITS, from_si, to_si
from server.testday.values import Day
from tests.testday.days import days

NEEDED = {"value"}  # a default is not put into its field, and one that nobody types over is refused


def as_sent(form: Form) -> Typed:
    sent = {}
    for field in form.fields:
        sent[field.name] = (field.value,)
        if field.kind == "quantity":
            sent |= {
                f"{field.name}_u": (field.u,),
                f"{field.name}_u_is": ("u",),
                f"{field.name}_source": (field.source,),
            }
    return sent


def slugs(day: Day) -> list[str]:
    view = car_view(day)
    rows = [row.slug for group in view.groups for row in group.rows if row.slug not in {"corners", "name"}]
    rows = [slug for slug in rows if not slug.startswith("calibration")]  # drawn with units that are none
    return [*rows, "venue", *(row.slug for row in view.weather)]


@settings(
    max_examples=60,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # whole days take minutes to shrink
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(day=days(), data=st.data())
def test_a_form_sent_back_as_it_came_changes_no_number(day: Day, data) -> None:  # type: ignore[no-untyped-def]
    slug = data.draw(st.sampled_from(slugs(day)))
    form = form_of(day, slug)
    if any(field.kind == "quantity" and field.name in NEEDED and not field.value for field in form.fields):
        with pytest.raises(FieldError, match="missing"):
            change_of(day, slug, as_sent(form))
        return
    changed = change_of(day, slug, as_sent(form)).day
    for before, after in ((day.car, changed.car), (day.venue, changed.venue)):
        assert numbers(plain(after)) == numbers(plain(before)), slug
    assert numbers(plain(changed.weather)) == numbers(plain(day.weather)), slug


def numbers(value: object) -> object:
    """The values and uncertainties, not whose word they are: a prediction or a default is typed once it is sent."""
    if isinstance(value, dict):
        return {key: numbers(one) for key, one in value.items() if key not in {"source", "name", "unit"}}
    return [numbers(one) for one in value] if isinstance(value, list) else value


@given(speed=st.floats(5.0, 100.0))
def test_kilometres_an_hour_come_home(speed: float) -> None:
    assert UNITS["kmh"].shown == "km/h"
    assert to_si(from_si(speed, "kmh"), "kmh") == speed
