"""The addresses that other devices on the network reach this computer at."""

from __future__ import annotations

import ipaddress
import socket
import struct
import sys
from contextlib import suppress

# One address in each network that is private (RFC 1918, 3927) or for documents alone (RFC 5737): asking which of
# this computer's addresses leads there sends nothing.
PROBES = ("192.0.2.1", "10.255.255.254", "172.31.255.254", "192.168.255.254", "169.254.255.254")
SIOCGIFADDR = {"linux": 0x8915, "darwin": 0xC0206921}


def lan_addresses() -> list[str]:
    """IPv4 addresses of this computer but the loopback's, the one of the way out first."""
    found = [*_towards_probes(), *_of_interfaces(), *_of_name()]
    return [text for text in dict.fromkeys(found) if not ipaddress.ip_address(text).is_loopback]


def _towards_probes() -> list[str]:
    found = []
    for probe in PROBES:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
            asking.connect((probe, 9))
            found.append(asking.getsockname()[0])
    return [address for address in found if address != "0.0.0.0"]


def _of_interfaces() -> list[str]:
    """Each network card's address, where the system tells by a card's name."""
    if sys.platform not in SIOCGIFADDR:
        return []
    import fcntl

    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            with suppress(OSError):
                answer = fcntl.ioctl(
                    asking.fileno(), SIOCGIFADDR[sys.platform], struct.pack("256s", name.encode()[:15])
                )
                found.append(socket.inet_ntoa(answer[20:24]))
    return found


def _of_name() -> list[str]:
    with suppress(OSError):
        return [each[4][0] for each in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]  # type: ignore[misc]
    return []
