"""Which names this computer answers to."""

from __future__ import annotations

from pathlib import Path

import pytest

from server.hosts import is_own_host, own_names
from tests.web.lan import client_from, lan_app


@pytest.mark.parametrize(
    "host", ["rebound.example", "192.0.2.8", "", "localhost.evil.example", "[", "10.0.0.1.example"]
)
def test_a_name_that_is_not_this_computers_is_refused(tmp_path: Path, host: str) -> None:
    """A page of another site whose name server leads to this address (DNS rebinding) names its own host."""
    with client_from(lan_app(tmp_path)) as lan:
        assert lan.get("/sign-in", headers={"Host": host, "Origin": f"http://{host}"}).status_code == 421


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
