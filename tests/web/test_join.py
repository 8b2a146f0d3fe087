"""Joining from another device: the code, the mark, the pauses; what is open to whom."""

from __future__ import annotations

import re
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

from server.app import create_app
from server.hosts import is_own_host, own_names
from server.joining import LETTERS, JoinDesk, make_code, open_desk, plain, read_key
from server.joining_pages import here, network_of
from server.security import JoinGate
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.serving import served

LAN = "192.0.2.7"
NEIGHBOUR = "192.0.2.99"
CODE = "KXMT-4HRW"


def lan_app(folder: Path, **settings: object):  # type: ignore[no-untyped-def]
    return create_app(Settings(data_folder=folder, host="0.0.0.0", **settings), KINDS)


@contextmanager
def client_from(app: ASGIApp, address: str, host: str = LAN) -> Iterator[httpx.Client]:
    """A client at an address that reaches the server by a name; its own page's Origin goes with it."""

    async def seen_from_there(scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            scope = {**scope, "client": (address, 50_000), "server": (LAN, 80)}
        await app(scope, receive, send)

    headers = {"Host": host, "Origin": f"http://{host}"}
    with served(seen_from_there) as url, httpx.Client(base_url=url, headers=headers, timeout=30) as client:
        yield client


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[httpx.Client]:
    """A server that listens to the network, seen from another device."""
    with client_from(lan_app(tmp_path, join_code=CODE), NEIGHBOUR) as client:
        yield client


@pytest.mark.parametrize(
    ("method", "path"),
    [
        *(("GET", path) for path in ("/", "/add", "/days/1", "/help", "/jobs/x", "/nope", "/web/scripts/theme.js")),
        *(
            ("GET", path)
            for path in ("/api/uploads/x", "/web/vendor/htmx-2.0.11.min.js", "/web/styles/../scripts/drop.js")
        ),
        *(("POST", path) for path in ("/uploads", "/add/folder", "/add/sample", "/theme")),
        *((method, f"/uploads/{'0' * 32}") for method in ("HEAD", "PATCH", "DELETE", "OPTIONS")),
    ],
)
def test_what_has_not_joined_gets_nothing(lan: httpx.Client, method: str, path: str) -> None:
    answer = lan.request(method, path)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("JoinCode")
    assert "frame-ancestors" in answer.headers["content-security-policy"]


def test_a_page_becomes_the_page_that_asks(lan: httpx.Client) -> None:
    answer = lan.get("/days/1/figures?a=<b>")
    assert "Enter the code that stands on the server" in answer.text
    assert 'name="back" value="/days/1/figures?a=' in answer.text
    assert "<b>" not in answer.text


def test_what_is_no_page_becomes_a_sentence(lan: httpx.Client) -> None:
    for answer in (
        lan.get("/api/uploads/x"),
        lan.post("/uploads"),
        lan.get("/", headers={"Accept": "application/json"}),
    ):
        assert "enter the code" in answer.json()["error"]
    assert lan.get("/", headers={"HX-Request": "true"}).headers["hx-redirect"] == "/join"


def test_what_the_page_that_asks_is_made_of_is_open(lan: httpx.Client) -> None:
    page = lan.get("/join")
    assert page.status_code == 200
    parts = re.findall(r'(?:href|src)="(/web/[^"]+)"', page.text)
    assert len(parts) == 5
    assert {lan.get(part).status_code for part in parts} == {200}


@pytest.mark.parametrize("typed", [CODE, "kxmt4hrw", " KXMT 4HRW "])
def test_the_code_opens_all_once_and_for_good(lan: httpx.Client, typed: str) -> None:
    answer = lan.post("/join", data={"code": typed, "back": "/add"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/add")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert lan.get("/add").status_code == 200
    assert lan.get("/join").status_code == 303
    sent = lan.post("/uploads", headers={"Tus-Resumable": "1.0.0", "Upload-Length": "3"})
    assert sent.status_code == 201


def test_a_wrong_code_opens_nothing(lan: httpx.Client) -> None:
    answer = lan.post("/join", data={"code": "KXMT-4HRA"})
    assert answer.status_code == 401
    assert "That is not the code" in answer.text
    assert "set-cookie" not in answer.headers
    assert lan.get("/").status_code == 401


def test_the_code_is_taken_from_the_servers_own_page_only(lan: httpx.Client) -> None:
    led = {"Origin": "http://elsewhere.example"}
    assert lan.post("/join", data={"code": CODE}, headers=led).status_code == 403


def test_guessing_is_braked_even_when_right(lan: httpx.Client) -> None:
    for _ in range(3):
        assert lan.post("/join", data={"code": "wrong"}).status_code == 401
    answer = lan.post("/join", data={"code": CODE})
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "1"
    assert "wait 1 s" in answer.text


@pytest.mark.parametrize("mark", ["", "1.2.3", "x", f"1700000000.{'0' * 16}.{'0' * 64}", "é.é.é"])
def test_a_made_up_mark_opens_nothing(lan: httpx.Client, mark: str) -> None:
    assert lan.get("/", headers={"Cookie": f"joined={mark}".encode("latin-1", "replace")}).status_code == 401


@pytest.mark.parametrize(
    ("address", "host", "open_at_once"),
    [
        ("127.0.0.1", "127.0.0.1", True),
        ("::1", "localhost", True),
        ("::ffff:127.0.0.1", "localhost", True),
        ("127.0.0.1", LAN, False),  # through a proxy on this computer
        (LAN, LAN, False),
        ("192.0.2.99", "127.0.0.1", False),
    ],
)
def test_only_this_computer_need_not_join(tmp_path: Path, address: str, host: str, open_at_once: bool) -> None:
    with client_from(lan_app(tmp_path), address, host) as client:
        assert client.get("/").status_code == (200 if open_at_once else 401)


def test_a_device_stays_joined_over_a_restart_while_the_code_changes(tmp_path: Path) -> None:
    first = lan_app(tmp_path)
    with client_from(first, NEIGHBOUR) as client:
        client.post("/join", data={"code": first.state.join_desk.code})
        cookies = dict(client.cookies)
    second = lan_app(tmp_path)
    assert second.state.join_desk.code != first.state.join_desk.code
    with client_from(second, NEIGHBOUR) as client:
        client.cookies.update(cookies)
        assert client.get("/").status_code == 200


def test_another_code_in_the_settings_shuts_all_out(tmp_path: Path) -> None:
    with client_from(lan_app(tmp_path, join_code=CODE), NEIGHBOUR) as client:
        client.post("/join", data={"code": CODE})
        cookies = dict(client.cookies)
    with client_from(lan_app(tmp_path, join_code="OTHER-CODE"), NEIGHBOUR) as client:
        client.cookies.update(cookies)
        assert client.get("/").status_code == 401


def test_a_server_for_this_computer_alone_asks_for_nothing(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path), KINDS)
    with client_from(app, "127.0.0.1", "localhost") as client:
        assert app.state.join_desk is None
        assert client.get("/join?back=/add").headers["location"] == "/add"
        assert client.post("/join", data={"code": "x"}).headers["location"] == "/"
    assert not (tmp_path / "join.key").exists()


@pytest.mark.parametrize(
    "host", ["rebound.example", "192.0.2.8", "", "localhost.evil.example", "[", "10.0.0.1.example"]
)
def test_a_name_that_is_not_this_computers_is_refused(lan: httpx.Client, host: str) -> None:
    """A page of another site whose name server leads to this address (DNS rebinding) names its own host."""
    lan.post("/join", data={"code": CODE})
    assert lan.get("/", headers={"Host": host, "Origin": f"http://{host}"}).status_code == 421


@pytest.mark.parametrize(
    ("header", "reached_at", "own"),
    [
        ("192.168.1.5:8421", "192.168.1.5", True),
        ("192.168.1.5", "::ffff:192.168.1.5", True),
        ("[fe80::1]:8421", "fe80::1%eth0", True),
        ("192.168.1.6:8421", "192.168.1.5", False),
        ("Gazebo.local:8421", "192.168.1.5", True),
        ("gazebo", "192.168.1.5", True),
        ("gazebo.local.", "192.168.1.5", True),
        ("garage.example", "192.168.1.5", True),
        ("gazebo.example", "192.168.1.5", False),
        ("localhost:8421", "127.0.0.1", True),
        ("", "", False),
    ],
)
def test_own_hosts(monkeypatch: pytest.MonkeyPatch, header: str, reached_at: str, own: bool) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: "Gazebo")
    assert is_own_host(header, own_names("garage.example, "), reached_at) is own


def test_codes_are_short_readable_and_never_the_same() -> None:
    codes = {make_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(re.fullmatch(f"[{LETTERS}]{{4}}-[{LETTERS}]{{4}}", code) for code in codes)
    assert not set("01IOL5SB8Z2UV") & set(LETTERS)
    assert len(LETTERS) ** 8 > 2**36


def test_the_key_is_the_owners_alone_and_stays(tmp_path: Path) -> None:
    key = read_key(tmp_path)
    assert read_key(tmp_path) == key
    assert stat.S_IMODE((tmp_path / "join.key").stat().st_mode) == 0o600
    (tmp_path / "join.key").write_bytes(b"cut off")
    again = read_key(tmp_path)
    assert len(again) == 32
    assert again != key


class Time:
    def __init__(self) -> None:
        self.now = 1_000_000.0

    def __call__(self) -> float:
        return self.now


def desk_at(time: Time) -> JoinDesk:
    return JoinDesk(b"k" * 32, CODE, clock=time, calendar=time)


def test_pauses_grow_for_an_address_and_are_forgiven() -> None:
    time = Time()
    desk = desk_at(time)
    pauses = []
    for _ in range(14):
        assert desk.enter("a", "wrong") is None
        pauses.append(desk.wait_s("a"))
        time.now += pauses[-1]
    assert pauses == [0, 0, 1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300, 300]
    assert desk.wait_s("b") == 0
    desk.enter("a", "wrong")
    time.now += 901
    assert desk.wait_s("a") == 0
    mark = desk.enter("a", CODE)
    assert mark
    assert desk.is_joined(mark)


def test_pauses_hold_for_all_when_many_addresses_guess() -> None:
    time = Time()
    desk = desk_at(time)
    pauses = []
    for number in range(30):
        assert desk.enter(f"a{number}", "wrong") is None
        pauses.append(desk.wait_s("someone else"))
        time.now += pauses[-1]
    assert pauses[:19] == [0] * 19
    assert pauses[19:26] == [1, 2, 4, 8, 16, 30, 30]


def test_no_more_addresses_are_remembered_than_there_is_room_for() -> None:
    time = Time()
    desk = desk_at(time)
    for number in range(1500):
        desk.enter(f"a{number}", "wrong")
        time.now += 31
    assert len(desk._of_each) == 1000


def test_a_mark_lasts_a_season_and_is_bound_to_its_key(tmp_path: Path) -> None:
    time = Time()
    desk = desk_at(time)
    mark = desk.enter("a", CODE) or ""
    assert desk.is_joined(mark)
    assert not JoinDesk(b"o" * 32, CODE, clock=time, calendar=time).is_joined(mark)
    assert not desk.is_joined(mark.replace("1", "2", 1))
    time.now += 200 * 24 * 3600 + 1
    assert not desk.is_joined(mark)
    assert open_desk(tmp_path, "").key == open_desk(tmp_path, CODE).key


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


def test_tries_of_one_network_are_counted_together() -> None:
    assert network_of("2001:db8:1:2::5") == network_of("2001:db8:1:2:ffff::1") != network_of("2001:db8:1:3::5")
    assert network_of("::ffff:192.0.2.1") == network_of("192.0.2.1") != network_of("192.0.2.2")


def test_the_gate_itself_lets_nothing_by_that_it_does_not_know() -> None:
    """Beneath no other guard: a path that only looks like an open one stays shut."""
    gate = JoinGate(PlainTextResponse("in"), desk_at(Time()), lambda *_: PlainTextResponse("out", 401))
    paths = (
        ("/join", 200),
        ("/join/x", 401),
        ("/joined", 401),
        ("/web/styles/%2e%2e/x", 401),
        ("/web/styles/a.css", 200),
    )
    with client_from(gate, NEIGHBOUR) as client:
        for path, status in paths:
            assert client.get(path).status_code == status, path


def test_plain_codes() -> None:
    assert plain(" kx-mt 4hrw") == "KXMT4HRW"


def test_the_console_tells_the_places_and_the_code() -> None:
    from server.commands.web_server import invitation, listening_socket

    with listening_socket("0.0.0.0", 0) as listener:
        port = listener.getsockname()[1]
        text = invitation("0.0.0.0", listener, CODE)
        assert text.endswith(f"enter this join code once: {CODE}")
        assert f".local:{port}" in text
        assert "127.0.0.1" not in text
        assert f"open http://192.0.2.2:{port}\n" in invitation("192.0.2.2", listener, CODE)
