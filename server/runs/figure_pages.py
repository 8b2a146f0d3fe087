"""The figures of a run: drawn, as a table, as CSV; its passes as CSV."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Path, Query, Request
from fastapi.responses import HTMLResponse, Response

from server.archive.archive import Archive
from server.dependencies import Results, TheArchive
from server.errors import NotFoundError, StillairError
from server.figures.run_values import ChannelTrace, RunFigure
from server.figures.table import Table
from server.figures.theme import drawing
from server.results.pages import TablePage, csv_answer
from server.runs.reading_pages import RunNow, crumbs, passes_table, run_now
from server.runs.speed import Leads, LeadSpeed, Window, channel_trace, find_column, speed_trace, turned_down
from server.templating import Crumb, is_htmx, render, render_part

router = APIRouter(default_response_class=HTMLResponse)
MOST_CHANNELS = 12
WORDS = {
    "passes": "Resistance of every pass of the run against speed. Circles: measured. Lines: the model without gusts, "
    "out solid, back dashed. Crosses: turned down, by the log alone.",
    "speed": "Speed over the run. Shaded: used. Between dashed lines: turned down.",
    "channels": "Channels over time, on one time axis. No peak is lost, however far away it is seen from.",
}
LOADS_WORDS = " Beneath: the load of each axle at the same speeds; squares: constant speed."
NOT_READ = "The logs of this run are still being read; ask again in a moment."
BACKWARDS = "A stretch must end after it starts."

DayId = Annotated[int, Path(ge=1, le=2**31)]
Number = Annotated[int, Path(ge=0, le=2**31)]
Seconds = Annotated[float | None, Query(allow_inf_nan=False)]
_leads = Leads()


def _stretch(
    from_s: Annotated[str, Query(alias="from", max_length=20)] = "",
    to_s: Annotated[str, Query(alias="to", max_length=20)] = "",
) -> Window:
    """The stretch that the address names; empty ends are those of the run."""
    window = Window(_seconds(from_s), _seconds(to_s))
    if window.from_s is not None and window.to_s is not None and window.to_s <= window.from_s:
        raise StillairError(BACKWARDS)
    return window


def _seconds(text: str) -> float | None:
    try:
        value = float(text.strip().replace(",", ".")) if text.strip() else None
    except ValueError:
        raise StillairError(f"A time is a number of seconds, not “{text[:20]}”.") from None
    return value if value is None or abs(value) < 1e9 else None


def _chosen(channels: Annotated[list[str] | None, Query(max_length=MOST_CHANNELS)] = None) -> tuple[str, ...]:
    return tuple(dict.fromkeys(one[:300] for one in channels or [] if one))


Stretch = Annotated[Window, Depends(_stretch)]
Chosen = Annotated[tuple[str, ...], Depends(_chosen)]


@dataclass(frozen=True, slots=True)
class Asked:
    """A figure of a run that is asked for."""

    name: str
    now: RunNow
    window: Window
    channels: tuple[str, ...]
    archive: Archive


def _asked(
    day_id: DayId, number: Number, name: str, *,
    archive: TheArchive, results: Results, window: Stretch, channels: Chosen,
) -> Asked:  # fmt: skip
    if name not in WORDS:
        raise NotFoundError(f"A run has no figure called {name[:40]}.")
    with archive.database.reading() as session:
        now = run_now(archive, session, results, day_id, number, arrays=name == "passes")
    return Asked(name, now, window, channels, archive)


AskedFigure = Annotated[Asked, Depends(_asked)]


@router.get("/days/{day_id}/runs/{number}/figures/{name}.json", name="run_figure")
def figure(asked: AskedFigure, narrow: bool = False) -> Response:
    """A figure for the page's plot module."""
    return Response(_drawn(asked, narrow), media_type="application/json")


@router.get("/days/{day_id}/runs/{number}/figures/{name}.csv", name="run_figure_csv")
def figure_csv(asked: AskedFigure) -> Response:
    """A figure's numbers as CSV."""
    return csv_answer(_table(asked), f"day-{asked.now.day_id}-run-{asked.now.run.number}-{asked.name}")


@router.get("/days/{day_id}/runs/{number}/figures/{name}/table", name="run_figure_table")
def figure_table(request: Request, asked: AskedFigure) -> HTMLResponse:
    """A figure's numbers as a table, on a page or as a piece of one."""
    table, now = _table(asked), asked.now
    if is_htmx(request):
        return render_part(request, "results/table_rows.html", table=table)
    there, of = request.app.url_path_for, {"day_id": str(now.day_id), "number": str(now.run.number)}
    run = Crumb(f"Run {now.run.number}", str(there("run", **of)))
    csv = f"{there('run_figure_csv', name=asked.name, **of)}?{figure_query(asked.window, asked.channels)}"
    words = WORDS[asked.name]
    return render(request, TablePage(title=words, crumbs=(*crumbs(request, now), run), table=table, csv=csv))


@router.get("/days/{day_id}/runs/{number}/passes.csv", name="run_passes_csv")
def passes_csv(day_id: DayId, number: Number, archive: TheArchive, results: Results) -> Response:
    """The run's passes as CSV."""
    with archive.database.reading() as session:
        now = run_now(archive, session, results, day_id, number)
    return csv_answer(passes_table(now), f"day-{day_id}-run-{number}-passes")


def figure_query(window: Window, channels: tuple[str, ...]) -> str:
    """What the figures of a run are asked with, to stand behind an address."""
    ends = (("from", window.from_s), ("to", window.to_s))
    said = [(name, f"{value:g}") for name, value in ends if value is not None]
    return urlencode([*said, *(("channels", one) for one in channels)])


def _drawn(asked: Asked, narrow: bool) -> str:
    from server.figures.run_passes import run_passes
    from server.figures.traces import traces_json

    if asked.name == "passes":
        return drawing(run_passes(_run_figure(asked), narrow))
    passes = [one for one in asked.now.passes if _is_seen(one.start_s, one.end_s, asked.window)]
    return traces_json(_traces(asked, narrow), passes, narrow)


def _is_seen(start_s: float, end_s: float, window: Window) -> bool:
    return (window.to_s is None or start_s < window.to_s) and (window.from_s is None or end_s > window.from_s)


def _table(asked: Asked) -> Table:
    from server.figures.run_passes import run_passes_table
    from server.figures.traces import traces_table

    if asked.name == "passes":
        return run_passes_table(_run_figure(asked))
    return traces_table(_traces(asked, narrow=False))


def _run_figure(asked: Asked) -> RunFigure:
    now = asked.now
    if now.result is None:
        raise NotFoundError("This run was not fitted yet.")
    lead = _lead(asked) if not now.waiting and any(not one.used for one in now.passes) else None
    driver = now.run.driver_mass_kg.value
    return RunFigure(now.result, turned_down(now.passes, lead, now.day.car, driver) if lead else ())


def _lead(asked: Asked) -> LeadSpeed | None:
    return _leads.of(asked.archive, asked.now.logs, asked.now.day, asked.now.run)


def _traces(asked: Asked, narrow: bool) -> list[ChannelTrace]:
    if asked.now.waiting:
        raise StillairError(NOT_READ)
    if asked.name == "channels":
        return [_channel(asked, one, narrow) for one in asked.channels]
    lead = _lead(asked)
    return [speed_trace(asked.archive, asked.now.logs, lead, asked.window, narrow)] if lead else []


def _channel(asked: Asked, name: str, narrow: bool) -> ChannelTrace:
    """A channel by its name, or by its name and log where an earlier log has one of that name. Raises NotFoundError."""
    for log in asked.now.logs:
        bare = name.removesuffix(f"@{log.log.file}")
        if bare != name or _has(asked, log, name):
            return channel_trace(asked.archive, log, bare, asked.window, narrow)
    raise NotFoundError(f"This run has no channel “{name[:60]}”.")


def _has(asked: Asked, log: object, name: str) -> bool:
    try:
        find_column(asked.archive, log, name)  # type: ignore[arg-type]
    except NotFoundError:
        return False
    return True
