"""Which names and addresses are this computer's own, and which are the loopback's."""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable
from urllib.parse import urlsplit

LOOPBACK_NAMES = {"localhost", "localhost.localdomain"}


def host_of(header: str) -> str:
    """The host in a Host header, without port and brackets, in small letters; empty when there is none."""
    try:
        return (urlsplit(f"//{header}").hostname or "").rstrip(".")
    except ValueError:
        return ""


def plain_address(text: str) -> str:
    """An IP address in its one form: an IPv4 address stays one when it comes as IPv6. Empty when it is none."""
    try:
        address = ipaddress.ip_address(text.partition("%")[0])
    except ValueError:
        return ""
    mapped = getattr(address, "ipv4_mapped", None)
    return str(mapped or address)


def is_loopback(host: str) -> bool:
    """Whether a Host header names this computer: localhost, 127.0.0.0/8 or ::1, with or without a port."""
    name = host_of(host)
    return name in LOOPBACK_NAMES or is_loopback_address(name)


def is_loopback_address(text: str) -> bool:
    """Whether an address is the loopback's."""
    address = plain_address(text)
    return bool(address) and ipaddress.ip_address(address).is_loopback


def own_names(more: str = "") -> frozenset[str]:
    """What others on the network may call this computer: its name, with and without .local, and names that were set."""
    name = socket.gethostname().lower()
    short = name.partition(".")[0]
    return frozenset({name, short, f"{short}.local", *(each.strip().lower() for each in more.split(","))} - {""})


def is_own_host(header: str, names: Iterable[str], reached_at: str) -> bool:
    """Whether a Host header names this computer as a neighbour may: by one of its names, by the address that the
    request came in at, or by the loopback's. A name that was led here by another's name server is none of these.
    """
    host = host_of(header)
    address = plain_address(host)
    own = bool(address) and address == plain_address(reached_at)
    return own or host in names or is_loopback(header)
