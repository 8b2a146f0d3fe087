"""One verdict in full, what its doubt is made of, and what people decided on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import BaseModel, Field

from server.analysis.correlated import NORMAL_95, Correlated
from server.analysis.correlation_words import VERDICT_WORDS, WRITTEN
from server.correlation.choosing import Text, link
from server.correlation.notes import Decision, keep_note, standing
from server.correlation.pages import Loaded, Of
from server.correlation.service import DayVerdicts
from server.correlation.view import NoteView, Part, about_words, doubt_parts, full_sentence, note_views, place_of
from server.dependencies import CurrentPerson, TheArchive
from server.errors import NotFoundError, StillairError
from server.templating import Crumb, Page, render
from server.testday.rounding import rounded, with_uncertainty

router = APIRouter(prefix="/correlation/verdict", default_response_class=HTMLResponse)
SEE_OTHER = 303
NOT_HERE = "There is no verdict on {about} with these days and predictions."
STANCE_WORDS = (
    ("accepted", "Accepted: the verdict stands as it is"),
    ("explained", "Explained: what makes the difference is known"),
    ("doubted", "Doubted: somebody has to look again"),
)


@dataclass(frozen=True, slots=True)
class Place:
    """What names a verdict: against is empty for a total."""

    setup: Text = ""
    quantity: Text = ""
    against: Text = ""


At = Annotated[Place, Depends()]


class DecisionForm(BaseModel):
    """What a person decided; supersedes: the number of the note that this one takes the place of."""

    stance: str = Field("", max_length=20)
    text: str = Field("", max_length=5000)
    supersedes: int | None = Field(None, ge=1, le=2**31)


@dataclass(frozen=True, kw_only=True)
class VerdictPage(Page):
    """One verdict. facts: words and values; supersedes: number of the note that a new one takes the place of."""

    template: ClassVar[str] = "correlation/verdict.html"
    help: ClassVar[str] = "correlation"
    verdict: str
    words: str
    sentence: str
    facts: tuple[tuple[str, str], ...]
    parts: tuple[Part, ...]
    assumed: tuple[str, ...]
    notes: tuple[NoteView, ...]
    supersedes: int | None
    stances: tuple[tuple[str, str], ...]
    stance: str
    text: str
    problem: str
    address: str
    day_id: int
    set_id: int


Decided = Annotated[DecisionForm, Form()]


@router.get("", name="verdict")
def verdict(request: Request, of: Of, place: At) -> HTMLResponse:
    """The verdict on one quantity of one setup, or of its change."""
    return _page(request, of, find(of, place))


@router.post("", name="decide")
def decide(
    request: Request, of: Of, place: At, archive: TheArchive, *, who: CurrentPerson, form: Decided
) -> Response:
    """Keep what a person decided on it."""
    pair = find(of, place)
    try:
        with archive.database.writing() as session:
            decision = Decision(form.stance, form.text, form.supersedes)
            keep_note(session, of.car.asked.car, pair, full_sentence(of.car, pair[1]), decision, who=who)
    except StillairError as refusal:
        return _page(request, of, pair, typed=(form.stance, form.text, str(refusal)))
    there = str(request.app.url_path_for("verdict"))
    return RedirectResponse(f"{link(there, _query(of) | place_of(pair[1]))}#decisions", SEE_OTHER)


def find(of: Loaded, place: Place) -> tuple[DayVerdicts, Correlated]:
    """The verdict that is named. Raises NotFoundError."""
    for pair in (*of.car.totals, *of.car.changes):
        if (pair[1].setup, pair[1].quantity, pair[1].against or "") == (place.setup, place.quantity, place.against):
            return pair
    known = place.quantity in WRITTEN
    about = about_words(place.setup[:40], place.quantity, place.against[:40]) if known else "that"
    raise NotFoundError(NOT_HERE.format(about=about))


def _query(of: Loaded) -> dict[str, str]:
    return of.choice.query(car=of.car.asked.car, of="", shown="")


def _page(
    request: Request, of: Loaded, pair: tuple[DayVerdicts, Correlated], typed: tuple[str, str, str] = ("", "", "")
) -> HTMLResponse:
    day, one = pair
    there = request.app.url_path_for
    place = (one.setup, one.quantity, one.against or "")
    notes = [note for note in of.notes if (note.setup, note.quantity, note.against) == place]
    newest = standing(notes)
    here = str(there("verdict"))
    page = VerdictPage(
        title=about_words(one.setup, one.quantity, one.against),
        crumbs=(Crumb("Correlation", link(str(there("correlation")), _query(of))),),
        verdict=one.verdict,
        words=VERDICT_WORDS[one.verdict],
        sentence=full_sentence(of.car, one),
        facts=_facts(day, one),
        parts=doubt_parts(one) if one.predicted is not None else (),
        assumed=tuple(f"{note[:1].upper()}{note[1:]}." for note in one.notes),
        notes=note_views(notes, of.car, here, _query(of)),
        supersedes=newest[0].id if newest else None,
        stances=STANCE_WORDS,
        stance=typed[0],
        text=typed[1],
        problem=typed[2],
        address=link(here, _query(of) | place_of(one)),
        day_id=day.day_id,
        set_id=day.sources[one.setup].set_id,
    )
    return render(request, page, 422 if typed[2] else 200)


def _allowed(one: Correlated) -> str:
    factor = WRITTEN[one.quantity].factor
    return rounded(factor * one.margin, factor * NORMAL_95 * one.u_val)[0]


def _facts(day: DayVerdicts, one: Correlated) -> tuple[tuple[str, str], ...]:
    written = WRITTEN[one.quantity]
    unit = written.unit if one.against is None else written.difference

    def told(value: float, u95: float) -> str:
        text = with_uncertainty(written.factor * value, written.factor * u95, unit or "1")
        return text.replace("-", "−", 1) if text.startswith("-") else text

    source = day.sources[one.setup]
    facts = [("Measured, D", told(one.measured.value, one.measured.u95))]
    if one.predicted is not None:
        facts += [
            ("Predicted, S", told(one.predicted, NORMAL_95 * one.predicted_u)),
            ("S − D", told(one.E, NORMAL_95 * one.u_val)),
            ("Allowed", f"± {_allowed(one)}{' ' + written.difference if written.difference else ''}"),
        ]
    return (
        *facts,
        ("Measured on", f"{day.name}, {day.day.isoformat()}, result {day.result_id}"),
        ("Predicted by", f"{source.name}{', ' + source.recipe if source.recipe else ''}"),
        ("Told as", f"{one.how}, at {day.found.heights[one.setup].how}"),
    )
