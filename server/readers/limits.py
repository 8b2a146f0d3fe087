"""How much a log may unpack to: a small file can declare, or hide, more than any memory holds."""

from __future__ import annotations

from server.errors import LogError

MAX_CHANNELS = 10_000
MAX_BYTES = 2 * 1024**3  # of samples unpacked: an hour of 70 channels at 1 kHz
MAX_BLOCK_BYTES = 64 * 1024**2  # of one packed block, unpacked
DEFLATE_RATIO = 1032  # the most that deflate can pack (RFC 1951: 258 bytes in 2 bits)


def refuse_many_channels(name: str, count: int) -> None:
    """Raise LogError where a log declares more channels than any logger has."""
    if count > MAX_CHANNELS:
        raise LogError(f"{name} declares {count:,} channels; no more than {MAX_CHANNELS:,} are read.")


def refuse_many_bytes(name: str, count: int) -> None:
    """Raise LogError where a log unpacks to too much."""
    if count > MAX_BYTES:
        size, most = f"{count / 1e6:,.0f} MB", f"{MAX_BYTES / 1e6:,.0f} MB"
        raise LogError(f"{name} unpacks to {size}; no more than {most} are read: cut the log, or leave channels out.")
