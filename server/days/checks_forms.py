"""Forms about the checks: a name put beside them, and the team's own list."""

from __future__ import annotations

from server.days.change import Change
from server.days.checks import ZERO, acknowledge, change_checklist, checks_view
from server.days.clock_now import clock_now
from server.days.form_fields import Field, FieldError, Form, Typed, one
from server.testday.values import Acknowledgement, Day

LONGEST_NAME = 60
LONGEST_ITEM = 200
MOST_ITEMS = 40
WHO_HINT = "As the others know you; it stands beside each check and in the history."


def checks_form(day: Day, slug: str) -> Form:
    """What is open, to be ticked; everything, where nothing is."""
    view = checks_view(day)
    items = view.open or tuple(line.text for line in view.lines)
    fields = (
        Field("items", "Looked at, and in order", "checks", options=tuple((text, text) for text in (*items, ZERO))),
        Field("who", "Name", "text", hint=WHO_HINT),
    )
    return Form(slug, "Checks and cautions", view.sentence, fields, send="Put my name to these")


def checks_change(day: Day, _slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    known = {*(line.text for line in checks_view(day).lines), ZERO}
    items = tuple(text for text in dict.fromkeys(typed.get("items", ())) if text in known)
    who = one(typed, "who")[:LONGEST_NAME]
    if not items:
        raise FieldError("items", "Tick what was looked at; nothing was ticked.")
    if not who:
        raise FieldError("who", "Say who acknowledges: a name, as the others know it.")
    return acknowledge(day, Acknowledgement(clock_now(day), who, items))


def zero_form(day: Day, slug: str) -> Form:
    """One tap before each run."""
    zero = checks_view(day).zero
    now = f"{zero.who} at {zero.when}" if zero.who else "not taken since the last run"
    return Form(slug, "Zero", now, (Field("who", "Name", "text", hint=WHO_HINT),), send="The zero is taken")


def zero_change(day: Day, slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    return checks_change(day, slug, {"items": (ZERO,), "who": typed.get("who", ())})


def checklist_form(day: Day, slug: str) -> Form:
    """The team's own checks, a line each."""
    lines = "\n".join(day.checklist)
    hint = "A line each, such as: steering lock tried. They are asked beside the usual ones."
    now = f"{len(day.checklist)} of the team's own"
    return Form(slug, "The team's own checks", now, (Field("items", "Checks", "lines", lines, hint=hint),))


def checklist_change(day: Day, _slug: str, typed: Typed) -> Change:
    """The change that the filled form asks for. Raises FieldError."""
    lines = (" ".join(line.split()) for line in one(typed, "items").splitlines())
    items = tuple(dict.fromkeys(filter(None, lines)))
    if len(items) > MOST_ITEMS:
        raise FieldError("items", f"A list has at most {MOST_ITEMS} checks.")
    if long := next((item for item in items if len(item) > LONGEST_ITEM), None):
        raise FieldError("items", f"A check has at most {LONGEST_ITEM} signs, not as many as “{long[:40]}…”.")
    return change_checklist(day, items)
