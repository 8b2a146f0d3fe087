"""Measured beside predicted by programs: verdicts of a car, decisions on them, margins."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from server.analysis.correlated import Across, Margins
from server.analysis.correlation_across_words import across_sentences
from server.analysis.correlation_json import correlation_to_json
from server.correlation.margins import keep_margins
from server.correlation.notes import Decision, keep_note, notes_of, open_notes
from server.correlation.pages import Of
from server.correlation.schemas import DecisionSent, DecisionView, MarginsSent, MarginsView, TapsSent, TapsView
from server.correlation.service import Asked, check_car, correlate_car
from server.correlation.taps import keep_taps
from server.correlation.taps_pages import TapChoice, taps_of
from server.correlation.view import across_of, full_sentence, quantities_told
from server.days.api import REFUSALS
from server.days.service import find_day
from server.dependencies import CurrentPerson, Results, TheArchive
from server.errors import NotFoundError
from server.inference.scatter_mean import CommonValue

router = APIRouter(prefix="/api/correlation", tags=["correlation"], responses=REFUSALS)
CarAsked = Annotated[str, Query(max_length=200, description="The car's name.")]


@router.get("", name="api_correlation", summary="A car's measurements beside its predictions")
def correlation(of: Of) -> dict[str, Any]:
    """Per day the lists that `fit --json` prints as correlation, and per quantity what all setups say together.

    The query's choices are those of the page: car, days (numbers with commas, or all), predictions (number of a set),
    baseline.
    """
    days = [
        {
            "day": day.day_id,
            "result": day.result_id,
            "sets": {setup: by.set_id for setup, by in day.sources.items()},
            **correlation_to_json(day.found),
        }
        for day in of.car.days
    ]
    found = {name: across_of(of.car, name) for name in quantities_told(of.car.totals)}
    return {
        "car": of.car.asked.car,
        "margins": _margins(of.car.asked.car, of.car.margins).model_dump(),
        "days": days,
        "together": {name: _across(one) for name, one in found.items() if one is not None},
    }


def _across(found: Across) -> dict[str, Any]:
    told: dict[str, Any] = {"setups": list(found.pairs.setups), "text": list(across_sentences(found))}
    for name, one in (("bias", found.bias), ("relative_bias", found.relative), ("factor", found.factor)):
        if one is not None:
            told[name] = _common(one)
    if found.line is not None:
        told["slope"] = {"value": found.line.slope, "low95": found.line.low95, "high95": found.line.high95}
    if found.limits is not None:
        limits = found.limits
        told["limits_of_agreement"] = {
            "lower": {"value": limits.lower, "low95": limits.lower_low95, "high95": limits.lower_high95},
            "upper": {"value": limits.upper, "low95": limits.upper_low95, "high95": limits.upper_high95},
        }
    if found.order is not None:
        order = found.order
        told["order"] = {"kept": order.kept, "turned": order.turned, "untold": order.untold}
    return told


def _common(one: CommonValue) -> dict[str, float]:
    return {
        "value": one.value,
        "u": one.u,
        "low95": one.low95,
        "high95": one.high95,
        "scatter": one.scatter,
        "scatter_low95": one.scatter_low95,
        "scatter_high95": one.scatter_high95,
    }


@router.get("/decisions", name="api_decisions", summary="Decisions on a car's verdicts, the newest first")
def decisions(archive: TheArchive, car: CarAsked = "", *, open_only: bool = False) -> list[DecisionView]:
    """Superseded ones too; only the doubts that nobody settled where open_only is set."""
    with archive.database.reading() as session:
        found = open_notes(session, car) if open_only else notes_of(session, car)
        return [DecisionView.model_validate(note) for note in found]


@router.post("/decisions", status_code=201, name="api_decide", summary="Keep a decision on a verdict")
def decide(sent: DecisionSent, archive: TheArchive, results: Results, who: CurrentPerson) -> DecisionView:
    """On the verdict of the newest result and the newest set; refused where there is none."""
    with archive.database.reading() as session:
        car = correlate_car(archive, session, results, Asked(sent.car))
    for pair in (*car.totals, *car.changes):
        one = pair[1]
        if (one.setup, one.quantity, one.against or "") == (sent.setup, sent.quantity, sent.against):
            decision = Decision(sent.stance, sent.text, sent.supersedes)
            with archive.database.writing() as session:
                note = keep_note(session, car.asked.car, pair, full_sentence(car, one), decision, who=who)
                return DecisionView.model_validate(note)
    raise NotFoundError(f"There is no verdict on {sent.quantity} of {sent.setup}.")


@router.post(
    "/margins", status_code=201, name="api_margins", summary="Keep by how much a car's predictions may be off"
)
def margins(sent: MarginsSent, archive: TheArchive, who: CurrentPerson) -> MarginsView:
    """Verdicts are made anew with them; decisions stay with the verdict that they were about."""
    given = Margins(sent.total, sent.change, sent.numerical_correlation)
    with archive.database.reading() as session:
        check_car(archive, session, sent.car)
    with archive.database.writing() as session:
        keep_margins(session, sent.car, given, who=who, reason=sent.reason.strip())
    return _margins(sent.car, given)


@router.get("/taps", name="api_taps_judged", summary="Pressures at taps, measured beside predicted")
def taps(of: Of, archive: TheArchive, choice: Annotated[TapChoice, Depends()]) -> dict[str, Any]:
    """Of one day and setup: of the first day that has taps where none is named."""
    shown = taps_of(archive, of, choice)
    rows = []
    for one in shown.found:
        told: dict[str, Any] = {}
        if one.predicted is not None:
            told = {"predicted": {"value": one.predicted, "u": one.predicted_u}, "E": one.E, "u_val": one.u_val}
        measured = {"value": one.measured.value, "u": one.measured.u}
        rows.append({"tap": one.setup, "measured": measured, **told, "margin": one.margin, "verdict": one.verdict})
    return {"car": of.car.asked.car, "day": shown.day.day_id if shown.day else 0, "setup": shown.setup, "taps": rows}


@router.post("/taps", status_code=201, name="api_take_taps", summary="Keep a day's measured taps")
def take_taps(sent: TapsSent, archive: TheArchive, who: CurrentPerson) -> TapsView:
    """A table as text: setup, tap, cp, and where known u and run. The newest table of a day stands."""
    with archive.database.reading() as session:
        find_day(session, sent.day_id)
    with archive.database.writing() as session:
        return TapsView.model_validate(
            keep_taps(archive, session, sent.day_id, sent.name, sent.table.encode(), who=who)
        )


def _margins(car: str, margins: Margins) -> MarginsView:
    return MarginsView(
        car=car, total=margins.total, change=margins.change, numerical_correlation=margins.numerical_correlation
    )
