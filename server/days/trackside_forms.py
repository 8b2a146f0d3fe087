"""The forms that stand open on the page of a test day, so that an entry takes a tap or two; and what comes next."""

from __future__ import annotations

from dataclasses import dataclass, replace

from server.days.checks import ChecksView, checks_view
from server.days.day_view import AirView
from server.days.form_fields import Field, Form
from server.days.forms import form_of
from server.testday.values import Day

OPEN = ("checks", "zero", "air")
ZEROED = "spring_rate_n_per_m"


@dataclass(frozen=True, slots=True)
class Step:
    """One step between two outings. state: done, now, or later."""

    words: str
    state: str


@dataclass(frozen=True, slots=True)
class Leading:
    """What the page leads to. action: what the one filled button does: checks, air, zero or logs; steps: in order,
    empty on a day that does not go on now."""

    action: str
    steps: tuple[Step, ...]
    checks: ChecksView
    forms: dict[str, Form]


def leading(day: Day, air: AirView, run_words: str, person: str, *, today: bool) -> Leading:
    """The next step of a day. run_words: what to run; person: who is at the screen, "" where nobody said."""
    checks = checks_view(day)
    forms = {slug: replace(with_person(form_of(day, slug), person), focus=False) for slug in OPEN}
    if not today:
        return Leading("logs", (), checks, forms)
    zeroed = wants_zero(day)
    done = [
        ("checks", "Checks and cautions, by name", not checks.open),
        ("air", "Air and wind read", not air.old),
        *([("zero", "Stand still for five seconds: the zero", not checks.zero.open)] if zeroed else []),
    ]
    action = next((name for name, _, ready in done if not ready), "logs")
    steps = [Step(words, "done" if ready else "now" if name == action else "later") for name, words, ready in done]
    words = f"Run: {run_words}" if run_words else "Run"
    last = "now" if action == "logs" else "later"
    return Leading(action, (*steps, Step(words, last), Step("Bring the logs in", "later")), checks, forms)


def wants_zero(day: Day) -> bool:
    """Whether the car carries sensors whose zero matters: springs are given, or the day's columns name some."""
    springs = any(getattr(axle, ZEROED) is not None for axle in (day.car.front, day.car.rear))
    roles = {*day.channels, *(role for run in day.runs for role in run.channels)}
    return springs or any(role.startswith(("damper", "ride_height", "pushrod")) for role in roles)


def with_person(form: Form, person: str) -> Form:
    """The form with the name of who is at the screen in it."""
    return replace(form, fields=tuple(_named(field, person) for field in form.fields))


def _named(field: Field, person: str) -> Field:
    return replace(field, value=person) if field.name == "who" and not field.value else field
