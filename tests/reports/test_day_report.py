"""Reports: one content, two forms; complete, the same every time, and made of nothing but themselves."""

from __future__ import annotations

import io
import re
import zlib
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from plotly import graph_objects as go

from server.app import create_app
from server.figures.catalogue import figure_names, find_plot
from server.reports.drawing import known_types, on_paper, svg
from server.settings import Settings
from tests.results.made_loads import loaded_day
from tests.web.fake_fit import KINDS
from tests.web.made_up import made_up_day_result
from tests.web.serving import client_of, keep_made_up

STATEMENT = "Calm morning, four pairs each: good enough to choose the flap by."


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[httpx.Client]:
    """An archive with a day without load sensors and one with them; names that markup could break."""
    folder = tmp_path_factory.mktemp("reports")
    app = create_app(Settings(data_folder=folder / "data"), KINDS)
    with client_of(app) as client:
        keep_made_up(app.state.archive, made_up_day_result("AB"), folder / "one", "Long <b>apron</b> & more")
        keep_made_up(app.state.archive, loaded_day(), folder / "two", "Second day")
        client.post("/who", data={"name": "Ana"})
        client.post("/days/1/sign-off", data={"statement": STATEMENT})
        yield client


@pytest.mark.parametrize("day", [1, 2])
def test_one_file_that_needs_nothing_else(client: httpx.Client, day: int) -> None:
    text = client.get(f"/days/{day}/report.html").text
    assert re.findall(r'(?:src|href)="(?!#)', text) == []
    assert "<script" not in text
    assert "url(" not in text.replace("url(#", "")
    assert text.count("<svg") == text.count("<figure") >= 4
    assert not re.search(r"[a-z](?:from|out of) \d+ coast-downs", text)
    for heading in ("What the day says", "Setups", "Uncertainty", "Cautions", "Where it comes from", "Signature"):
        assert f"<h2>{heading}</h2>" in text


def test_it_says_what_the_page_says(client: httpx.Client) -> None:
    text, page = client.get("/days/1/report.html").text, client.get("/days/1/result").text
    values = re.findall(r"1\.\d+ ± 0\.\d+", page)
    assert len(values) > 3
    assert {value for value in values if value not in text} == set()
    assert "Ana signed this result off" in text
    assert STATEMENT in text
    assert "Long &lt;b&gt;apron&lt;/b&gt; &amp; more" in text
    assert "The day is not signed off." in client.get("/days/2/report.html").text


def test_where_it_comes_from_stands_in_it(client: httpx.Client) -> None:
    text = client.get("/days/1/report.html").text
    newest = client.get("/api/days/1/results").json()[-1]
    assert newest["sha256"] in text
    head = client.get("/api/events/head").json()
    assert head["sha256"] in text
    assert "testday.toml" in text


@pytest.mark.parametrize("kind", ["pdf", "html"])
def test_the_same_every_time(client: httpx.Client, kind: str) -> None:
    first, second = (client.get(f"/days/2/report.{kind}").content for _ in range(2))
    assert first == second
    assert len(first) > 50_000


def streams(pdf: bytes) -> list[bytes]:
    """The unpacked streams of a PDF."""
    found = []
    for match in re.finditer(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL):
        data = match.group(1).strip()
        if data.endswith(b"~>"):
            import base64

            data = base64.a85decode(data, adobe=False) if not data.startswith(b"<~") else base64.a85decode(data)
        try:
            found.append(zlib.decompress(data))
        except zlib.error:
            found.append(data)
    return found


def test_a_pdf_with_its_fonts_inside(client: httpx.Client) -> None:
    answer = client.get("/days/1/report.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    assert 'filename="Long bapronb  more report.pdf"' in answer.headers["content-disposition"]
    assert answer.content.startswith(b"%PDF-1.")
    assert b"/FontFile2" in answer.content
    assert b"DejaVuSans" in answer.content
    assert len(re.findall(rb"/Type /Page\b", answer.content)) >= 3
    assert len(re.findall(rb"/Subtype /Image", answer.content)) >= 4


@pytest.mark.parametrize("make", [made_up_day_result, loaded_day])
def test_every_figure_of_a_day_can_be_drawn_on_paper(make) -> None:  # type: ignore[no-untyped-def]
    result = make()
    for name in figure_names(result):
        plot = find_plot(name, result)
        assert plot is not None
        figure = plot.draw(result)
        paper = on_paper(figure)
        marks = sum(len(axes.lines) + len(axes.patches) + len(axes.collections) for axes in paper.axes)
        assert marks >= max(1, len(figure.data) // 2), name
        titles = {axis.title.text for axis in [*figure.select_xaxes(), *figure.select_yaxes()] if axis.title.text}
        drawn = {axes.get_xlabel() for axes in paper.axes} | {axes.get_ylabel() for axes in paper.axes}
        assert titles <= drawn, name


def test_points_stand_where_they_belong() -> None:
    figure = go.Figure(go.Scatter(x=[1.0, 2.0], y=[3.0, 5.0], mode="markers", marker={"symbol": "square", "size": 9}))
    (line,) = on_paper(figure).axes[0].lines
    assert list(line.get_xdata()) == [1.0, 2.0]
    assert list(line.get_ydata()) == [3.0, 5.0]
    assert line.get_marker() == "s"


def test_a_trace_that_is_not_known_is_an_error_and_no_empty_picture() -> None:
    assert "pie" not in known_types()
    with pytest.raises(ValueError, match="pie"):
        on_paper(go.Figure(go.Pie(values=[1, 2])))


def test_words_are_letters_drawn_as_paths() -> None:
    figure = go.Figure(go.Scatter(x=[1], y=[1], mode="text", text=["<b>a</b> &lt; b"]))
    assert "<text" not in svg(figure)


def test_what_is_not_there(client: httpx.Client) -> None:
    assert client.get("/days/9/report.pdf").status_code == 404
    assert client.get("/days/1/report.pdf?result=2").status_code == 404
    assert client.get("/days/2/report.html?result=2").status_code == 200


def test_a_day_without_a_result(tmp_path: Path) -> None:
    from server.days.service import IncomingDay, keep_day
    from tests.web.serving import SMALL_DAY

    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    folder = tmp_path / "day"
    folder.mkdir()
    (folder / "testday.toml").write_text(SMALL_DAY)
    with client_of(app) as client:
        with app.state.archive.database.writing() as session:
            keep_day(app.state.archive, session, IncomingDay("Long apron", None, folder, "folder.zip"))
        answer = client.get("/days/1/report.pdf")
    assert answer.status_code == 422
    assert "no result yet" in answer.text
    assert io.BytesIO(answer.content).read(4) != b"%PDF"
