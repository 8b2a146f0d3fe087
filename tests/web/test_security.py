"""What comes in and what goes out: policy, host, origin, sizes, text as text."""

from __future__ import annotations

from pathlib import Path

import httpx
import pytest

from server.app import create_app
from server.hosts import is_loopback
from server.settings import Settings
from tests.web.conftest import Site
from tests.web.fake_fit import KINDS
from tests.web.serving import client_of


def test_every_answer_carries_the_policy(shown: Site) -> None:
    for path in ("/", "/days/1/result", "/nope", "/web/scripts/plots.js", "/days/1/figures/forest.json"):
        headers = shown.client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        assert "script-src" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"


@pytest.mark.parametrize("origin", ["http://elsewhere.example", "null", "", "http://127.0.0.1:1"])
def test_a_post_from_another_page_is_refused(site: Site, origin: str) -> None:
    answer = site.client.post("/theme", data={"theme": "dark"}, headers={"Origin": origin})
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_a_post_without_origin_or_referer_is_refused(site: Site) -> None:
    with httpx.Client(base_url=site.client.base_url) as bare:
        assert bare.post("/theme", data={"theme": "dark"}).status_code == 403
        own = {"Referer": f"{site.client.base_url}/add"}
        assert bare.post("/theme", data={"theme": "dark"}, headers=own).status_code == 303


def test_another_host_name_is_refused(site: Site) -> None:
    assert site.client.get("/", headers={"Host": "rebound.example"}).status_code == 421
    port = site.client.base_url.port
    assert site.client.get("/", headers={"Host": f"localhost:{port}"}).status_code == 200


@pytest.mark.parametrize(
    ("host", "inside"),
    [
        *(("127.0.0.1", True), ("127.9.9.9:80", True), ("localhost:8421", True), ("[::1]:8421", True)),
        *(("0.0.0.0", False), ("192.168.1.5", False), ("localhost.evil.example", False)),
        *(("", False), ("[", False)),
    ],
)
def test_loopback_names(host: str, inside: bool) -> None:
    assert is_loopback(host) is inside


def test_too_much_is_refused_and_leaves_nothing(site: Site) -> None:
    answer = site.client.post("/add/folder", files={"day_zip": ("big.zip", b"PK" + b"0" * 2_500_000)})
    assert answer.status_code == 413
    assert "At most 2 MB can be sent at once." in answer.text
    assert list((site.folder / "incoming").iterdir()) == []


def test_json_is_read_into_memory_and_has_a_bound_of_its_own(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path / "data", upload_limit_mb=100.0), KINDS)
    with client_of(app) as client:
        sent = {"Content-Type": "application/json; charset=utf-8"}
        answer = client.post("/api/days/1/fit", content=b" " * 4_000_001, headers=sent)
        assert answer.status_code == 413
        assert answer.json() == {"error": "At most 4 MB can be sent at once."}
        assert client.post("/api/days/1/fit", content=b"{}", headers=sent).status_code == 404


def test_a_body_of_unknown_length_is_refused(site: Site) -> None:
    answer = site.client.post("/add/folder", content=iter([b"PK", b"0" * 100]))
    assert answer.status_code == 411


def test_names_with_markup_are_text(shown: Site) -> None:
    for path in ("/", "/days/1/result", "/days/1/result/passes", "/days/1/figures/forest/table"):
        text = shown.client.get(path).text
        assert "<b>apron" not in text
        assert "<b>traffic" not in text
    assert "&lt;b&gt;apron" in shown.client.get("/days/1/result").text
    assert "<b>" not in shown.client.get("/days/1/figures/forest.json").text


def test_the_theme_goes_back_to_this_site_only(site: Site) -> None:
    for back, goes in (
        ("/days/1/result", "/days/1/result"),
        ("//evil.example", "/"),
        ("http://evil.example/", "/"),
        ("/\\evil", "/"),
    ):
        answer = site.client.post("/theme", data={"theme": "dark", "back": back})
        assert (answer.status_code, answer.headers["location"]) == (303, goes)
    assert site.client.get("/").text.count('data-theme="dark"') == 1
    site.client.cookies.set("theme", '"><script>')
    assert '<html lang="en" data-theme="auto">' in site.client.get("/").text
