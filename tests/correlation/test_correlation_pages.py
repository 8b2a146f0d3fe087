"""The page of a correlation, its figures, one verdict with decisions, margins, and the same for programs."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.analysis.correlated_days import measured_day
from tests.correlation.measured_sites import AREAS, CAR, keep_measured, measured_site, usual_cases
from tests.web.conftest import Site

PLACE = {"car": CAR, "setup": "C", "quantity": "SCx"}


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with measured_site(tmp_path_factory.mktemp("correlation")) as site:
        yield site


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with measured_site(tmp_path) as site:
        yield site


def test_the_page_opens_with_what_is_off_and_what_to_do(shown: Site) -> None:
    page = shown.client.get("/correlation").text
    assert "Of 24 totals" in page
    assert "Look first at C" in page
    assert page.index("Look first at C") < page.index("Of 24 totals")
    assert "Decide on SCx of C" in page
    assert "prediction low" in page
    assert "Kendall" not in page  # four setups: even a perfect order may be chance
    assert "With 4 setups even a perfect order may be chance" in page
    assert "limits of agreement take 5" in page


def test_every_figure_has_its_table_and_csv(shown: Site) -> None:
    for name in ("totals", "changes", "together", "trend"):
        figure = shown.client.get(f"/correlation/figures/{name}.json?of=SCz_rear").json()
        assert figure["figure"]["data"], name
        rows = list(csv.reader(io.StringIO(shown.client.get(f"/correlation/figures/{name}.csv").text)))
        assert len(rows) > 3, name
        assert "<table" in shown.client.get(f"/correlation/figures/{name}/table").text
    assert shown.client.get("/correlation/figures/nothing.json").status_code == 404


def test_measured_is_filled_and_predicted_is_hollow(shown: Site) -> None:
    traces = shown.client.get("/correlation/figures/totals.json").json()["figure"]["data"]
    points = {trace["marker"]["symbol"]: trace for trace in traces if trace.get("mode") == "markers"}
    assert set(points) == {"circle", "diamond-open"}
    assert points["circle"]["marker"]["color"] == points["diamond-open"]["marker"]["line"]["color"]
    assert len(points["circle"]["x"]) == len(points["diamond-open"]["x"]) == 4
    assert len(set(points["circle"]["marker"]["color"])) == 4


def test_csv_holds_what_the_standard_names(shown: Site) -> None:
    text = shown.client.get("/correlation/figures/totals.csv").text
    for row in csv.DictReader(io.StringIO(text)):
        e = float(row["predicted"]) - float(row["measured"])
        assert float(row["E = S − D"]) == pytest.approx(e)
        u_val = (float(row["u measured"]) ** 2 + float(row["u predicted"]) ** 2) ** 0.5
        assert float(row["u_val"]) == pytest.approx(u_val)


def test_a_verdict_in_full(shown: Site) -> None:
    page = shown.client.get("/correlation/verdict", params=PLACE).text
    assert "prediction 12 % low, more than the data can excuse" in page
    assert "What the doubt is made of" in page
    assert "Long apron, 2026-05-09, result 1" in page
    missing = shown.client.get("/correlation/verdict", params=PLACE | {"setup": "Z"})
    assert missing.status_code == 404


def test_a_decision_is_kept_superseded_and_found(site: Site) -> None:
    """Doubted, so that the season shows it; then explained, so that it no longer does; both stay readable."""
    client = site.client
    client.cookies.set("who", "Ana")
    refused = client.post("/correlation/verdict", params=PLACE, data={"stance": "doubted", "text": " "})
    assert refused.status_code == 422
    assert "Write down why" in refused.text
    doubt = {"stance": "doubted", "text": "No radiator in the mesh?"}
    done = client.post("/correlation/verdict", params=PLACE, data=doubt)
    assert done.status_code == 303
    assert "No radiator in the mesh?" in client.get("/").text
    assert "No radiator in the mesh?" in client.get("/search", params={"q": "radiator"}).text
    page = client.get("/correlation/verdict", params=PLACE).text
    assert 'name="supersedes" value="1"' in page
    settled = {"stance": "explained", "text": "The radiator is worth 0.15 m².", "supersedes": "1"}
    assert client.post("/correlation/verdict", params=PLACE, data=settled).status_code == 303
    late = client.post("/correlation/verdict", params=PLACE, data=settled)
    assert late.status_code == 422
    assert "Somebody decided on this verdict meanwhile" in late.text
    assert "No radiator in the mesh?" not in client.get("/").text
    page = client.get("/correlation/verdict", params=PLACE).text
    assert "a later decision took its place" in page
    assert "The radiator is worth 0.15 m²." in page
    events = client.get("/api/events").json()
    assert [one["kind"] for one in events["events"] if one["kind"] == "verdict-decided"] == ["verdict-decided"] * 2


def test_a_decision_speaks_of_its_own_result_only(site: Site, tmp_path: Path) -> None:
    """A newer result of the day: the decision stays, and is said to be about an earlier one."""
    data = {"stance": "accepted", "text": "As expected."}
    assert site.client.post("/correlation/verdict", params=PLACE, data=data).status_code == 303
    from server.days.service import newest_revision
    from server.results.service import keep_result, write_result

    archive = site.app.state.archive
    write_result(measured_day(AREAS, rel_u=0.011)[1], tmp_path / "again.zip")
    with archive.database.writing() as session:
        keep_result(archive, session, newest_revision(session, 1), tmp_path / "again.zip")
    page = site.client.get("/correlation").text
    assert "about an earlier result or another set of predictions" in page
    assert "Decide on SCx of C" in page


def test_margins_are_a_setting_of_the_car_with_an_event(site: Site) -> None:
    wide = {"car": CAR, "total": "15", "change": "20", "together": "0", "reason": "first year of the mesh"}
    assert site.client.post("/correlation/margins", data=wide).status_code == 303
    assert "within ± 15 %" in site.client.get("/correlation").text
    verdict = site.client.get("/correlation/verdict", params=PLACE).text
    assert "12 % low" in verdict or "agree within 15 %" in verdict
    assert site.client.post("/correlation/margins", data=wide).status_code == 422
    assert site.client.post("/correlation/margins", data=wide | {"total": "0"}).status_code == 422
    assert site.client.post("/correlation/margins", data=wide | {"total": "much"}).status_code == 422
    event = site.client.get("/api/events").json()["events"][-1]
    assert (event["kind"], event["reason"]) == ("margins-changed", "first year of the mesh")


def test_days_and_sets_are_chosen_by_the_address(site: Site, tmp_path: Path) -> None:
    """A second day measured A and B less well, and brought predictions of its own."""
    result = measured_day({"A": AREAS["A"], "B": AREAS["B"]}, rel_u=0.05)[1]
    wrong = [one for one in usual_cases() if one.setup == "A" and not one.part]
    second = keep_measured(site.app.state.archive, result, tmp_path / "more", wrong, name="Second", date="2026-06-20")
    told = site.client.get("/api/correlation", params={"car": CAR}).json()
    assert [day["day"] for day in told["days"]] == [1]  # the first day knows every setup best
    alone = site.client.get("/api/correlation", params={"car": CAR, "days": str(second)}).json()
    assert {entry["setup"] for entry in alone["days"][0]["correlation"]} == {"A", "B"}
    assert alone["days"][0]["sets"] == {"A": 2, "B": 1}  # of each setup the newest set that holds it
    first = site.client.get("/api/correlation", params={"car": CAR, "days": str(second), "predictions": "1"}).json()
    assert first["days"][0]["sets"] == {"A": 1, "B": 1}
    every = site.client.get("/api/correlation", params={"car": CAR, "days": "all"}).json()
    assert {day["day"] for day in every["days"]} == {1, second}
    assert "Over the days" in site.client.get("/correlation", params={"car": CAR, "days": "all"}).text
    other = site.client.get("/api/correlation", params={"car": CAR, "baseline": "B"}).json()
    assert {entry["against"] for entry in other["days"][0]["correlation_changes"]} == {"B"}


def test_programs_decide_and_read(site: Site) -> None:
    head = {"X-Stillair-Who": "robot"}
    sent = {"car": CAR, "setup": "C", "quantity": "SCx", "stance": "doubted", "text": "Look again."}
    made = site.client.post("/api/correlation/decisions", json=sent, headers=head)
    assert made.status_code == 201
    assert (made.json()["verdict"], made.json()["who"]) == ("prediction-low", "robot")
    open_ones = site.client.get("/api/correlation/decisions", params={"car": CAR, "open_only": "true"}).json()
    assert [one["text"] for one in open_ones] == ["Look again."]
    assert site.client.post("/api/correlation/decisions", json=sent | {"setup": "Z"}, headers=head).status_code == 404
    margins = {"car": "nobody's", "total": 0.1}
    assert site.client.post("/api/correlation/margins", json=margins, headers=head).status_code == 404


def test_a_days_result_holds_its_correlation_as_fit_prints_it(shown: Site) -> None:
    told = shown.client.get("/api/days/1/result").json()
    off = next(one for one in told["correlation"] if (one["setup"], one["quantity"]) == ("C", "SCx"))
    assert off["verdict"] == "prediction-low"
    assert told["correlation_changes"]


def test_together_says_bias_and_order(shown: Site) -> None:
    told = shown.client.get("/api/correlation").json()["together"]["SCz"]
    assert told["setups"] == ["A", "B", "C", "D"]
    assert told["relative_bias"]["low95"] < 0.0 < told["relative_bias"]["high95"]
    assert told["order"]["turned"] == 0
    json.dumps(told, allow_nan=False)


def test_empty_pages_teach(tmp_path: Path) -> None:
    from server.app import create_app
    from server.settings import Settings
    from tests.web.fake_fit import KINDS
    from tests.web.serving import client_of

    app = create_app(Settings(data_folder=tmp_path / "data"), KINDS)
    with client_of(app) as client:
        assert "No day of this car has a result yet" in client.get("/correlation").text
        keep_measured(app.state.archive, measured_day(AREAS)[1], tmp_path / "days")
        page = client.get("/correlation").text
        assert "No predictions of this car stand here yet" in page
        assert "Bring predictions" in page


def test_what_a_change_is_worth(shown: Site) -> None:
    """B makes more downforce and drag than A: quicker round the circle, dearer over the distance."""
    page = shown.client.get("/correlation/worth", params={"car": CAR, "change": "B − A"}).text
    assert "B against A, as measured: −0.0" in page
    assert "circle of 15.25 m with a lane of 3 m" in page
    assert "energy over 22 km" in page
    longer = shown.client.get("/correlation/worth", params={"car": CAR, "change": "B − A", "distance": "11"})
    assert "energy over 11 km" in longer.text
    refused = shown.client.get("/correlation/worth", params={"car": CAR, "friction": "sticky"})
    assert refused.status_code == 422
    assert "Friction of the tyres must be a number from 0.3 to 3, not “sticky”." in refused.text
    assert 'value="sticky"' in refused.text


def test_taps_come_in_and_are_judged(site: Site) -> None:
    """A refused table stays in the form; a good one is kept byte for byte, and held against a set of taps."""
    client, at = site.client, {"car": CAR}
    bad = client.post("/correlation/taps", params=at, data={"day_id": "1", "pasted": "setup,tap,cp\nA,F1,deep"})
    assert bad.status_code == 422
    assert "Line 2: cp must be a number, not “deep”." in bad.text
    assert "A,F1,deep" in bad.text
    for broken in ('setup,tap,cp\nA,F1,"\r1"\rx,y\r"', f'setup,tap,cp\nA,"{"x" * 140_000}'):
        bad = client.post("/correlation/taps", params=at, data={"day_id": "1", "pasted": broken})
        assert bad.status_code == 422
    assert "Line 2 of the table cannot be read (field larger than field limit" in bad.text
    table = "setup,tap,cp,u\nA,F1,-1.2,0.02\nA,F2,-0.4,0.02\nA,N,0.8,0.02\n"
    done = client.post("/correlation/taps", params=at, data={"day_id": "1", "pasted": table})
    assert done.status_code == 303
    assert "3 measured taps of this day are kept" in client.get("/correlation/taps", params={"car": CAR}).text
    head = {"X-Stillair-Who": "robot"}
    predicted = "setup;tap;cp\nA;F1;-1.21\nA;F2;-0.9\nA;N;0.79\n"
    sent = {"car": CAR, "name": "taps", "recipe": "RANS", "table": predicted}
    assert client.post("/api/predictions", json=sent, headers=head).status_code in (200, 201)
    page = client.get("/correlation/taps", params={"car": CAR}).text
    assert "Of 3 taps of A" in page
    assert "Look first at tap F2" in page
    traces = client.get("/correlation/figures/taps.json", params=at).json()["figure"]["data"]
    assert {trace["marker"]["symbol"] for trace in traces if "marker" in trace} == {"circle", "diamond-open"}
    assert "prediction low" in client.get("/correlation/figures/taps.csv", params=at).text
    told = client.get("/api/correlation/taps", params={"car": CAR}).json()
    assert {one["tap"]: one["verdict"] for one in told["taps"]}["F2"] == "prediction-low"
    again = {"day_id": 1, "table": "setup,tap,cp,u\nA,F2,-0.9,0.02\n"}
    made = client.post("/api/correlation/taps", json=again, headers=head)
    assert made.status_code == 201
    assert client.get(f"/api/files/{made.json()['sha256']}").text == again["table"]
    assert [one["tap"] for one in client.get("/api/correlation/taps", params={"car": CAR}).json()["taps"]] == ["F2"]


def test_decisions_are_sealed_and_the_check_finds_what_was_altered(site: Site) -> None:
    from sqlalchemy import text
    from sqlalchemy.exc import DatabaseError

    from server.archive.read_only import ReadOnlyArchive
    from server.history.verify import faults

    data = {"stance": "accepted", "text": "As expected."}
    assert site.client.post("/correlation/verdict", params=PLACE, data=data).status_code == 303
    assert list(faults(ReadOnlyArchive(site.folder))) == []
    altered = "UPDATE decision_notes SET text = 'Never said.'"
    with pytest.raises(DatabaseError, match="never altered"), site.app.state.archive.database.writing() as session:
        session.execute(text(altered))
    with site.app.state.archive.database.writing() as session:
        session.execute(text("DROP TRIGGER decision_notes_no_update"))
        session.execute(text(altered))
    found = list(faults(ReadOnlyArchive(site.folder)))
    assert "Correlation, decision_notes 1: its event tells of something else." in found
    assert "The database: the seal decision_notes_no_update is missing." in found
