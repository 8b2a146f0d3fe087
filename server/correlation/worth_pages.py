"""What a change is worth at simple events: an aid to decide."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse

from server.analysis.worth import Assumed
from server.correlation.choosing import Option, Text, link
from server.correlation.pages import Loaded, Of
from server.correlation.service import DayVerdicts
from server.correlation.worth_view import TYPED, EventRow, assumed_of, event_rows, shown, worth_sentence
from server.errors import StillairError
from server.templating import Crumb, Page, render

router = APIRouter(prefix="/correlation/worth", default_response_class=HTMLResponse)
NO_CHANGE = "No change between two setups was measured and predicted yet, so there is nothing to weigh."


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which change, and what was typed of the assumptions."""

    change: Text = ""
    friction: Text = ""
    power: Text = ""
    speed: Text = ""
    distance: Text = ""
    pitch: Text = ""

    @property
    def typed(self) -> dict[str, str]:
        """What was typed, by name; what was left empty is not there."""
        given = {one.name: str(getattr(self, one.name)) for one in TYPED}
        return {name: text for name, text in given.items() if text.strip()}


@dataclass(frozen=True, slots=True)
class AssumedField:
    """A field of the form."""

    name: str
    words: str
    unit: str
    value: str


@dataclass(frozen=True, kw_only=True)
class WorthPage(Page):
    """One change at every event. kept: what the form's address keeps."""

    template: ClassVar[str] = "correlation/worth.html"
    help: ClassVar[str] = "correlation"
    sentence: str
    problem: str
    changes: tuple[Option, ...]
    rows: tuple[EventRow, ...]
    fields: tuple[AssumedField, ...]
    mass: str
    kept: tuple[tuple[str, str], ...]
    back: str


@router.get("", name="worth")
def worth_page(request: Request, of: Of, wanted: Annotated[Wanted, Depends()]) -> HTMLResponse:
    """What a change of areas is worth."""
    here = str(request.app.url_path_for("worth"))
    query = of.choice.query(car=of.car.asked.car, of="", shown="")
    back = link(str(request.app.url_path_for("correlation")), query)
    crumbs = (Crumb("Correlation", back),)
    changes = _changes(of)
    if not changes:
        empty = WorthPage(title="What it is worth", crumbs=crumbs, sentence=NO_CHANGE, problem="", changes=(), rows=(),
                          fields=(), mass="", kept=(), back=back)  # fmt: skip
        return render(request, empty)
    chosen = wanted.change if wanted.change in changes else next(iter(changes))
    day, setup, baseline = changes[chosen]
    assumed, rows, problem = _answer(day, (setup, baseline), wanted)
    page = WorthPage(
        title="What it is worth",
        crumbs=crumbs,
        sentence=worth_sentence((setup, baseline), rows) if rows else problem,
        problem=problem,
        changes=tuple(
            Option(words, link(here, query | wanted.typed | {"change": words}), words == chosen) for words in changes
        ),
        rows=rows,
        fields=tuple(
            AssumedField(one.name, one.words, one.unit, wanted.typed.get(one.name) or shown(assumed)[one.name])
            for one in TYPED
        ),
        mass=f"{assumed.mass_kg.value:.0f} kg with driver",
        kept=tuple((query | {"change": chosen}).items()),
        back=back,
    )
    return render(request, page, 422 if problem and not rows else 200)


def _changes(of: Loaded) -> dict[str, tuple[DayVerdicts, str, str]]:
    """Words of a change → its day, setup and baseline."""
    return {f"{one.setup} − {one.against}": (day, one.setup, one.against) for day, one in of.car.changes if one.against}


def _answer(
    day: DayVerdicts, change: tuple[str, str], wanted: Wanted
) -> tuple[Assumed, tuple[EventRow, ...], str]:
    """Assumptions, rows, and why there are none."""
    usual = assumed_of(day, {})
    try:
        assumed = assumed_of(day, wanted.typed)
        return assumed, event_rows(day, change, assumed), ""
    except StillairError as refusal:
        return usual, (), str(refusal)
