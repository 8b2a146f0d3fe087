"""The reports of a season and of a correlation: complete, the same every time, made of nothing but themselves."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import httpx
import pytest
from plotly import graph_objects as go
from typer.testing import CliRunner

from server.commands.main import app as commands
from server.reports.content import Rows
from server.reports.drawing import on_paper
from server.reports.parts import UsedResult
from server.reports.season_report import _days
from tests.analysis.correlated_days import measured_day
from tests.correlation.measured_sites import AREAS, CAR, keep_measured, measured_site, usual_cases
from tests.web.conftest import Site

STATEMENT = "Calm morning, four pairs each: good enough to choose the flap by."
ANA = {"X-Stillair-Who": "Ana"}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """Two days of a car with predictions, one signed, one verdict doubted."""
    folder = tmp_path_factory.mktemp("reports")
    with measured_site(folder) as made:
        result = measured_day({name: AREAS[name] for name in "AB"}, rel_u=0.012)[1]
        archive, cases = made.app.state.archive, usual_cases()[:9]
        keep_measured(archive, result, folder / "more", cases, name="Second", date="2026-06-20")
        sent = {"car": CAR, "setup": "C", "quantity": "SCx", "stance": "doubted", "text": "Look at the mesh <again>."}
        assert made.client.post("/api/correlation/decisions", json=sent, headers=ANA).status_code == 201
        assert made.client.post("/days/1/sign-off", data={"statement": STATEMENT}, headers=ANA).status_code == 303
        yield made


@pytest.fixture(scope="module")
def first(site: Site) -> dict[str, httpx.Response]:
    """Each report as it came the first time: drawing one takes seconds."""
    addresses = [f"{of}/report.{kind}" for of in ("/season", "/correlation") for kind in ("pdf", "html")]
    return {address: site.client.get(address, timeout=120) for address in addresses}


SEASON = (
    "What the season says", "What stands", "Figures", "Days", "Uncertainty", "Open findings",
    "Open doubts about predictions", "Cautions", "Where it comes from", "Signature",
)  # fmt: skip
CORRELATION = (
    "What the measurements say of the predictions", "Verdicts on setups", "Verdicts on changes", "Figures",
    "All setups together", "Uncertainty", "Decisions", "What the verdicts stand on", "Cautions", "Where it comes from",
    "Signature",
)  # fmt: skip


@pytest.mark.parametrize(("of", "titles"), [("/season", SEASON), ("/correlation", CORRELATION)])
def test_one_file_with_all_its_parts_that_fetches_nothing(
    site: Site, first: dict[str, httpx.Response], of: str, titles: tuple[str, ...]
) -> None:
    text = first[f"{of}/report.html"].text
    found = re.findall(r"<h2>([^<]*)</h2>", text)
    assert [one for one in titles if one not in found] == []
    assert not re.search(r"<script|<link|<img|@import|url\((?!#)|href=\"http|src=", text)
    assert text.count("<svg") >= 3
    assert "Track testing can hurt people." in text
    assert "Faculty advisor" in text
    head = site.client.get("/api/events/head").json()
    assert head["sha256"] in text
    newest = site.client.get("/api/days/1/results").json()[0]
    assert newest["sha256"] in text


def test_the_season_says_what_its_page_says(site: Site, first: dict[str, httpx.Response]) -> None:
    text = first["/season/report.html"].text
    page = site.client.get("/").text
    sentence = re.search(r'<p class="sentence">([^<]*)</p>', page)
    assert sentence is not None
    assert sentence.group(1) in text
    assert "1 of 2 days are signed off: Long apron by Ana" in text
    assert "Look at the mesh &lt;again&gt;." in text
    assert "2026-06-20" in text
    assert site.client.get("/season/report.html?year=1999").status_code in (404, 422)


def test_the_correlation_says_what_its_page_says(site: Site, first: dict[str, httpx.Response]) -> None:
    text = first["/correlation/report.html"].text
    page = site.client.get("/correlation").text
    sentence = re.search(r'<p class="sentence">([^<]*)</p>', page)
    assert sentence is not None
    assert sentence.group(1) in text
    assert "doubted by Ana" in text
    assert "1 verdicts are doubted" not in text
    assert "1 verdict is doubted and not settled." in text
    assert "2026-05-09 Long apron" in re.sub("<h2>.*", "", text, flags=re.DOTALL)  # under the title: the days
    assert site.client.get("/correlation/report.pdf?car=nobody").status_code == 422


def test_the_same_every_time_with_fonts_inside(site: Site, first: dict[str, httpx.Response]) -> None:
    for address in ("/season/report.pdf", "/season/report.html", "/correlation/report.pdf"):
        assert site.client.get(address, timeout=120).content == first[address].content, address
    for address, answer in first.items():
        assert re.search(r'filename="[\w ]+ report\.(pdf|html)"', answer.headers["content-disposition"]), address
    for of in ("/season", "/correlation"):
        content = first[f"{of}/report.pdf"].content
        assert content.startswith(b"%PDF-1.")
        assert b"/FontFile2" in content
        assert len(re.findall(rb"/Subtype /Image", content)) >= 3


def test_pages_lead_to_their_reports(site: Site) -> None:
    season, correlation = site.client.get("/?year=2026").text, site.client.get("/correlation").text
    for kind in ("pdf", "html"):
        assert f'href="/season/report.{kind}?year=2026"' in season
        assert f'href="/correlation/report.{kind}' in correlation
    assert 'href="/season/pack?year=2026"' in season


def test_the_command_writes_what_the_page_gives(
    site: Site, first: dict[str, httpx.Response], tmp_path: Path
) -> None:
    data, file = ["--data", str(site.folder)], tmp_path / "season.pdf"
    done = CliRunner().invoke(commands, ["report", "season", str(file), "--year", "2026", *data])
    assert done.exit_code == 0, done.output
    assert file.read_bytes() == first["/season/report.pdf"].content
    nobody = CliRunner().invoke(commands, ["report", "correlation", str(file), "--car", "nobody", *data])
    assert "No test day of that car" in str(nobody.exception)
    day = CliRunner().invoke(commands, ["report", "day", str(tmp_path / "day.html"), "--day", "Second", *data])
    assert day.exit_code == 0, day.output
    assert "<h1>Second</h1>" in (tmp_path / "day.html").read_text("utf-8")
    for refused, words in (
        (["week", "a.pdf"], "none of 'week'"), (["season", "a.txt"], "must end in"), (["day", "a.pdf"], "Name the day"),
    ):  # fmt: skip
        said = CliRunner().invoke(commands, ["report", *refused, *data])
        assert words in str(said.exception)


def test_words_stand_where_the_figure_puts_them() -> None:
    """An annotation without a reference stands in the axes' own numbers; a letter beside its point."""
    figure = go.Figure(go.Scatter(x=[1.0], y=[2.0], mode="text", text=["A"], textposition="middle right"))
    figure.add_annotation(x=3.0, y=4.0, text="equal", showarrow=False, yshift=-14)
    axes = on_paper(figure).axes[0]
    letter, equal = axes.texts
    assert (letter.get_text(), letter.get_ha(), letter.get_va()) == ("A", "left", "center")
    assert (equal.get_text(), equal.xy) == ("equal", (3.0, 4.0))


def test_a_figure_is_no_taller_than_its_place() -> None:
    figure = go.Figure(go.Scatter(x=[1.0], y=[2.0]), go.Layout(height=800))
    assert on_paper(figure, 2.6).get_figheight() == 2.6
    assert on_paper(figure).get_figheight() > 7.0


def test_of_two_days_of_one_name_the_signed_one_is_shown_as_signed() -> None:
    about = {"date": "2026-05-09", "name": "Long apron", "car": "A-04", "venue": "", "runs": 2, "setups": ("A",)}
    days = [SimpleNamespace(id=number, day=number, no_result=None, **about) for number in (1, 2)]
    results = tuple(
        UsedResult(day.id, day.name, day.date, 1, 10 + day.id, "0.1.0", f"{day.id:064}", signed)
        for day, signed in zip(days, ("Ana, 2026-05-10", ""), strict=True)
    )
    told: Any = SimpleNamespace(season=SimpleNamespace(days=days), results=results)
    [table] = _days(told)
    assert isinstance(table, Rows)
    assert [row[-1] for row in table.rows] == ["Ana, 2026-05-10", "no"]
