"""Signing in from another device: the first owner, invitations, roles, guessing, programs; what is open to whom."""

from __future__ import annotations

import asyncio
import re
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from server.accounts import signing_in
from server.accounts.pages import here, network_of
from server.accounts.rules import RULES, need_of
from server.app import _answer_error, create_app
from server.commands.web_server import first_owner, listening_socket, where_others_go
from server.errors import ArchiveBusyError
from server.gate import SignInGate
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.lan import LAN, NEIGHBOUR, PASSWORD, client_from, lan_app, make_account, other_device, sign_in
from tests.web.test_probing import routes_of

JSON = {"Content-Type": "application/json"}


@pytest.fixture
def app(tmp_path: Path) -> FastAPI:
    return lan_app(tmp_path)


@pytest.fixture
def lan(app: FastAPI) -> Iterator[httpx.Client]:
    """A server that listens to the network, seen from another device."""
    with client_from(app) as client:
        yield client


@pytest.mark.parametrize(
    ("method", "path"),
    [
        *(("GET", path) for path in ("/", "/add", "/days/1", "/help", "/jobs/x", "/nope", "/people", "/account")),
        *(("GET", path) for path in ("/api/uploads/x", "/web/../days/1", "/sign-in/x", "/invited/x", "/websites")),
        *(("POST", path) for path in ("/uploads", "/add/folder", "/add/sample", "/theme", "/people/invitations")),
        *((method, f"/uploads/{'0' * 32}") for method in ("HEAD", "PATCH", "DELETE", "OPTIONS")),
    ],
)
def test_who_has_not_signed_in_gets_nothing(lan: httpx.Client, method: str, path: str) -> None:
    answer = lan.request(method, path)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Bearer")
    assert "frame-ancestors" in answer.headers["content-security-policy"]


def test_a_page_becomes_the_page_that_asks(lan: httpx.Client) -> None:
    answer = lan.get("/days/1/figures?a=<b>")
    assert "Nobody has an account yet" in answer.text
    assert 'name="back" value="/days/1/figures?a=' in answer.text
    assert "<b>" not in answer.text
    assert answer.headers["cache-control"] == "no-store"


def test_what_is_no_page_becomes_a_sentence(lan: httpx.Client) -> None:
    for answer in (
        lan.get("/api/uploads/x"),
        lan.post("/uploads"),
        lan.get("/", headers={"Accept": "application/json"}),
    ):
        assert "Sign in first" in answer.json()["error"]
    assert lan.get("/", headers={"HX-Request": "true"}).headers["hx-redirect"] == "/sign-in"


def test_what_the_page_that_asks_is_made_of_is_open(lan: httpx.Client) -> None:
    parts = re.findall(r'(?:href|src)="(/web/[^"]+)"', lan.get("/sign-in").text)
    assert len(parts) == 5
    assert {lan.get(part).status_code for part in parts} == {200}


def test_the_console_s_link_makes_the_owner_once(app: FastAPI, lan: httpx.Client) -> None:
    with listening_socket("0.0.0.0", 0) as listener:
        port = listener.getsockname()[1]
        assert f".local:{port}" in where_others_go("0.0.0.0", listener)
        text = first_owner(app.state.archive, "0.0.0.0", listener)
        code = text.rpartition("code=")[2]
        shown = lan.get(f"/invited?code={code}")
        assert "Its role is owner" in shown.text
        sent = {"code": code, "name": "Ana", "password": PASSWORD, "again": PASSWORD}
        assert lan.post("/invited", data=sent).headers["location"] == "/"
        assert lan.get("/people").status_code == 200
        assert lan.post("/invited", data=sent).status_code == 401
        assert "invited by an owner" in first_owner(app.state.archive, "0.0.0.0", listener)


def test_a_refused_invitation_keeps_what_was_typed(app: FastAPI, lan: httpx.Client) -> None:
    with listening_socket("127.0.0.1", 0) as listener:
        code = first_owner(app.state.archive, "127.0.0.1", listener).rpartition("code=")[2]
    answer = lan.post("/invited", data={"code": code, "name": "Ana", "password": "short", "again": "short"})
    assert answer.status_code == 422
    assert "at least 12 characters" in answer.text
    assert 'value="Ana"' in answer.text
    assert "short" not in answer.text


def test_name_and_password_open_all(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "engineer", "Bo Ek")
    answer = sign_in(lan, " bo  EK", back="/add")
    assert (answer.status_code, answer.headers["location"]) == (303, "/add")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert "secure" not in cookie.replace("signed_in", "")
    assert "Bo Ek<small>engineer</small>" in lan.get("/add").text
    assert lan.get("/sign-in?back=/cars").headers["location"] == "/cars"
    sent = lan.post("/uploads", headers={"Tus-Resumable": "1.0.0", "Upload-Length": "0"})
    assert sent.status_code == 201
    assert lan.get("/api/events").json()["events"][-1]["who"] == "Bo Ek"
    assert lan.post("/sign-out").headers["location"] == "/"
    assert lan.get("/add").status_code == 401


def test_a_database_that_is_away_is_said_in_a_sentence(
    lan: httpx.Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """To every tablet that asks each second, and without an account of a mistake in the log each time."""

    def away(*_: object) -> None:
        raise ArchiveBusyError("The archive's database does not answer.")

    monkeypatch.setattr(signing_in, "visitor_of_mark", away)
    page, live = lan.get("/"), lan.get("/live", headers={"Accept": "application/json"})
    assert (page.status_code, live.status_code) == (503, 503)
    assert (page.headers["retry-after"], live.headers["retry-after"]) == ("5", "5")
    assert "retry-after" not in lan.get("/web/styles/tokens.css").headers
    assert "database does not answer" in page.text
    assert live.json() == {"error": "The archive's database does not answer."}
    assert "frame-ancestors" in page.headers["content-security-policy"]
    assert [one.getMessage() for one in caplog.records] == []


def test_a_mistake_before_the_pages_is_a_page_like_others(lan: httpx.Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def mistaken(*_: object) -> None:
        raise RuntimeError("made to fail")

    monkeypatch.setattr(signing_in, "visitor_of_mark", mistaken)
    page = lan.get("/")
    assert page.status_code == 500
    assert "made a mistake" in page.text
    assert "made to fail" not in page.text
    assert "frame-ancestors" in page.headers["content-security-policy"]


def test_over_https_the_mark_is_secure(app: FastAPI) -> None:
    async def by_https(scope, receive, send):  # type: ignore[no-untyped-def]
        await app({**scope, "scheme": "https"} if scope["type"] == "http" else scope, receive, send)

    with client_from(by_https) as client:
        make_account(app, "engineer", "Bo")
        assert "secure" in sign_in(client, "Bo").headers["set-cookie"].lower()


@pytest.mark.parametrize(("name", "password"), [("Bo", "wrong wet cones"), ("Al", PASSWORD), ("", ""), ("Bo\0", "x")])
def test_a_wrong_password_opens_nothing(app: FastAPI, lan: httpx.Client, name: str, password: str) -> None:
    make_account(app, "owner", "Bo")
    answer = sign_in(lan, name, password)
    assert answer.status_code == 401
    assert "do not belong together" in answer.text
    assert "set-cookie" not in answer.headers
    assert lan.get("/").status_code == 401


def test_guessing_is_braked_even_when_right(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "owner", "Bo")
    app.state.throttle.clock = lambda: 0.0
    for _ in range(3):
        assert sign_in(lan, "Bo", "wrong").status_code == 401
    answer = sign_in(lan, "Bo")
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "1"
    assert "wait 1 s" in answer.text
    with other_device(lan) as other:  # another address, the same name
        assert sign_in(other, "Bo").status_code == 429


def test_guessing_codes_is_braked(app: FastAPI, lan: httpx.Client) -> None:
    app.state.throttle.clock = lambda: 0.0
    statuses = [lan.get(f"/invited?code=ACDE-FGHJ-KMN{letter}").status_code for letter in "ACDE"]
    assert statuses == [401, 401, 401, 429]


def test_passwords_come_from_the_servers_own_page_only(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "owner", "Bo")
    led = {"Origin": "http://elsewhere.example"}
    sent = {"name": "Bo", "password": PASSWORD}
    assert lan.post("/sign-in", data=sent, headers=led).status_code == 403


@pytest.mark.parametrize("mark", ["", "1.2.3", "x" * 43, "é.é.é", "x" * 5000])
def test_a_made_up_mark_opens_nothing(app: FastAPI, lan: httpx.Client, mark: str) -> None:
    make_account(app, "owner", "Bo")
    sent = f"signed_in={mark}".encode("latin-1", "replace")
    assert lan.get("/", headers={"Cookie": sent}).status_code == 401
    bearer = [(b"Authorization", b"Bearer " + mark.encode("latin-1", "replace") + b".")]
    assert lan.get("/api/days", headers=bearer).status_code == 401


@pytest.mark.parametrize(("address", "host"), [("127.0.0.1", "localhost"), ("::1", "localhost"), (LAN, LAN)])
def test_on_a_network_this_computer_signs_in_too(app: FastAPI, address: str, host: str) -> None:
    with client_from(app, address, host) as client:
        assert client.get("/").status_code == 401


def test_a_device_stays_signed_in_over_a_restart(tmp_path: Path) -> None:
    first = lan_app(tmp_path)
    with client_from(first) as client:
        make_account(first, "owner", "Bo")
        sign_in(client, "Bo")
        cookies = dict(client.cookies)
    with client_from(lan_app(tmp_path)) as client:
        client.cookies.update(cookies)
        assert client.get("/").status_code == 200


def test_a_server_for_this_computer_alone_asks_for_nothing_and_says_so(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path), KINDS)
    with client_from(app, "127.0.0.1", "localhost") as client:
        assert "this computer alone, no password" in client.get("/").text
        assert client.get("/sign-in?back=/add").headers["location"] == "/add"
        assert client.get("/account").headers["location"] == "/people"
        shown = client.post("/people/invitations", data={"role": "lead", "note": "Bo"})
        assert "asks nobody for a password" in shown.text
        assert re.search("([A-Z0-9]{4}-){2}[A-Z0-9]{4}", shown.text)


def test_an_account_that_is_closed_is_out_at_once(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "owner", "Ana")
    bo = make_account(app, "engineer", "Bo")
    sign_in(lan, "Bo")
    with other_device(lan) as owner:
        sign_in(owner, "Ana")
        assert owner.post(f"/people/{bo.id}/closed", data={"closed": "true"}).status_code == 303
    assert lan.get("/").status_code == 401


def test_a_password_is_changed_by_who_knows_it(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "engineer", "Bo")
    sign_in(lan, "Bo")
    before = lan.cookies["signed_in"]
    new = {"password": "other wet cones", "again": "other wet cones"}
    assert lan.post("/account/password", data={"old": "wrong", **new}).status_code == 422
    assert lan.post("/account/password", data={"old": PASSWORD, **new}).status_code == 303
    assert lan.cookies["signed_in"] != before
    assert lan.get("/account").status_code == 200
    with other_device(lan) as client:
        assert client.get("/", headers={"Cookie": f"signed_in={before}"}).status_code == 401
        assert sign_in(client, "Bo", "other wet cones").status_code == 303


def test_password_fields_let_helpers_work(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "owner", "Ana")
    sign_in(lan, "Ana")
    made = lan.post("/people/invitations", data={"role": "lead"}).text
    code = re.findall(r'<code class="copied">([^<]+)</code>', made)
    account, invited = lan.get("/account").text, lan.get(f"/invited?code={code[0]}").text
    lan.post("/sign-out")
    asked = {
        lan.get("/sign-in").text: ("username", "current-password"),
        invited: ("name", "new-password"),
        account: ("current-password", "new-password"),
    }
    for page, words in asked.items():
        assert all(f'autocomplete="{word}"' in page for word in words)
        assert 'autocomplete="off"' not in page.replace("<input id=\"code\"", "")


def test_an_owner_helps_who_forgot_the_password(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "owner", "Ana")
    bo = make_account(app, "engineer", "Bo")
    sign_in(lan, "Ana")
    code = re.findall(r'<code class="copied">([^<]+)</code>', lan.post(f"/people/{bo.id}/password").text)[0]
    with other_device(lan) as device:
        assert "gives the account of Bo another password" in device.get(f"/invited?code={code}").text
        new = {"code": code, "name": "ignored", "password": "other wet cones", "again": "other wet cones"}
        assert device.post("/invited", data=new).status_code == 303
        assert "Bo<small>engineer</small>" in device.get("/").text
        device.post("/sign-out")
        assert sign_in(device, "Bo").status_code == 401
        assert sign_in(device, "Bo", "other wet cones").status_code == 303


def test_an_advisor_reads_and_is_offered_no_change(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "owner", "Ana")
    make_account(app, "advisor", "Cy")
    sign_in(lan, "Cy")
    assert ' data-role="advisor" data-who="Cy">' in lan.get("/add").text
    answer = lan.post("/add/sample")
    assert (answer.status_code, "Your role is advisor; this asks for engineer" in answer.text) == (403, True)
    assert lan.get("/people").status_code == 200
    assert "Make a code" not in lan.get("/people").text
    assert lan.post("/people/invitations", data={"role": "owner"}).status_code == 403
    assert lan.post("/verified").status_code == 303


def test_what_another_typed_is_not_sent_in_the_name_of_who_is_signed_in(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "engineer", "Bo")
    make_account(app, "engineer", "Åsa")
    sign_in(lan, "Bo")
    answer = lan.post("/theme", data={"theme": "dark"}, headers={"X-Stillair-Who": "%C3%85sa"})
    assert (answer.status_code, "Åsa must sign in to send it" in answer.text) == (403, True)
    assert lan.post("/theme", data={"theme": "dark"}, headers={"X-Stillair-Who": "Bo"}).status_code == 303


def test_a_program_comes_in_by_a_token_of_its_person(app: FastAPI, lan: httpx.Client) -> None:
    make_account(app, "engineer", "Bo")
    sign_in(lan, "Bo")
    shown = lan.post("/account/tokens", data={"name": "log sender", "role": "engineer"}).text
    token = re.findall(r'<code class="copied">([^<]+)</code>', shown)[0]
    assert token not in lan.get("/account").text
    bearer = {"Authorization": f"Bearer {token}"}
    with other_device(lan) as program:
        del program.headers["Origin"]
        assert program.get("/api/days").status_code == 401
        assert program.get("/api/days", headers=bearer).json() == []
        assert program.post("/api/jobs/x/cancel", content="{}", headers={**bearer, **JSON}).status_code == 404
        assert program.get("/people", headers=bearer).status_code == 200
        origin = {"Origin": f"http://{LAN}"}
        assert program.post("/account/devices", headers={**bearer, **origin}).status_code == 403
        assert not program.cookies
        assert lan.post("/account/tokens/1/end").status_code == 303
        assert program.get("/api/days", headers=bearer).status_code == 401


ROLES = ("advisor", "engineer", "lead", "owner")


@pytest.mark.parametrize("role", ROLES)
def test_every_route_asks_for_its_role(app: FastAPI, lan: httpx.Client, role: str) -> None:
    """What a role may not do is refused with 403 on every route, and what it may is never refused so."""
    make_account(app, "owner", "Ana")
    make_account(app, role, "Bo")
    sign_in(lan, "Bo")
    mark = {"Cookie": f"signed_in={lan.cookies['signed_in']}"}
    wrong = []
    for route in routes_of(app):
        for method in sorted(route.methods):
            if method in ("GET", "HEAD", "OPTIONS") or route.path == "/sign-out":
                continue
            path = re.sub(r"\{\w+(:\w+)?\}", "999", route.path)
            kind = {} if path.startswith("/uploads") else JSON if path.startswith("/api/") else {}
            status = lan.request(method, path, headers={**mark, **kind}).status_code
            need = need_of(method, route.path)
            allowed = need == "anybody" or ROLES.index(role) >= ROLES.index(str(need))
            if (status == 403) == allowed:
                wrong.append(f"{role}: {method} {route.path} gave {status}, asks for {need}")
    assert not wrong, "\n".join(wrong)


def test_every_route_has_a_rule_and_every_rule_a_route(app: FastAPI) -> None:
    exist = {(method, route.path) for route in routes_of(app) for method in route.methods}
    assert exist - set(RULES) == set(), "say in server/accounts/rules.py who may use these"
    assert set(RULES) - exist == set(), "these are no routes any more"
    writes = {rule for rule in RULES if rule[0] not in ("GET", "HEAD", "OPTIONS")}
    own = {"/theme", "/who", "/sign-out", "/sign-in", "/invited", "/verified", "/api/verify"}
    readers = {path for method, path in writes if RULES[method, path] in ("advisor", "anybody")}
    assert {path for path in readers - own if not path.startswith("/account/")} == set()


def test_a_route_without_a_rule_is_open_to_nobody(app: FastAPI, lan: httpx.Client) -> None:
    async def unruled() -> str:
        return "in"

    app.add_api_route("/unruled", unruled, methods=["GET"])
    make_account(app, "owner", "Ana")
    sign_in(lan, "Ana")
    answer = lan.get("/unruled")
    assert answer.status_code == 403
    assert "Nobody has said yet" in answer.text


def test_the_gate_itself_lets_nothing_by_that_it_does_not_know(app: FastAPI) -> None:
    """Beneath no other guard: a path that only looks like an open one stays shut."""
    app.state.archive.open()
    out, threads = PlainTextResponse("out", 401), set()

    def refuse(*_: object) -> Response:
        threads.add(asyncio._get_running_loop() is not None)
        return out

    gate = SignInGate(PlainTextResponse("in"), app.state.archive, refuse=refuse, sorry=_answer_error)
    paths = {
        "/sign-in": 200, "/sign-in/x": 401, "/invitedx": 401, "/web/%2e%2e/x": 401, "/webx": 401,
        "/web/styles/a.css": 200,
    }  # fmt: skip
    with client_from(gate) as client:
        assert {path: client.get(path).status_code for path in paths} == paths
    assert threads == {False}  # the page that asks reads the database: nobody else waits for that


@pytest.mark.parametrize(
    ("back", "goes"),
    [
        ("/days/1?a=b", "/days/1?a=b"),
        ("//evil.example", "/"),
        ("http://evil.example/", "/"),
        ("/\\evil", "/"),
        ("", "/"),
        ("/a\nb", "/"),
    ],
)
def test_the_way_back_stays_here(back: str, goes: str) -> None:
    assert here(back) == goes


def seen_from(address: str) -> str:
    return network_of(Request({"type": "http", "client": (address, 1), "headers": []}))


def test_tries_of_one_network_are_counted_together() -> None:
    assert seen_from("2001:db8:1:2::5") == seen_from("2001:db8:1:2:ffff::1") != seen_from("2001:db8:1:3::5")
    assert seen_from("::ffff:192.0.2.1") == seen_from("192.0.2.1") != seen_from("192.0.2.2")
    assert seen_from(NEIGHBOUR) == NEIGHBOUR
