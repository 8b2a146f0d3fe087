"""Where raw files lie: in the data folder, or in a store that the settings name."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from server.archive.raw_files import RawStore
from server.errors import StillairError
from server.settings import STORE_VARIABLE, Settings, load

RAW, CACHE = "raw", "store-cache"
PROTOCOLS = ("file", "s3")
NO_ADDRESS = (
    f"{STORE_VARIABLE} is no address of a store; it is written file:///folder/that/all/reach or s3://bucket/prefix, "
    "with an http:// or https:// address of the server, where it has its own, in "
    f"{STORE_VARIABLE}_ENDPOINT."
)
WITH_SECRET = (
    f"{STORE_VARIABLE} and {STORE_VARIABLE}_ENDPOINT hold no names and passwords; put them into AWS_ACCESS_KEY_ID and "
    "AWS_SECRET_ACCESS_KEY."
)


@dataclass(frozen=True, slots=True)
class StoreAddress:
    """A store that several computers reach. url: without credentials, those are in the environment.

    endpoint: the server's own address, empty where the usual one is meant. cache: the folder on this computer for
    files that were read, of at most about cache_mb.
    """

    url: str
    endpoint: str
    cache: str
    cache_mb: float

    def check(self) -> None:
        """Raise StillairError, a sentence without what was typed, where this is no address."""
        parts, end = urlsplit(self.url), urlsplit(self.endpoint)
        if "@" in parts.netloc or "@" in end.netloc:
            raise StillairError(WITH_SECRET)
        whole = Path(parts.path).is_absolute() and not parts.netloc if parts.scheme == "file" else bool(parts.netloc)
        good_end = not self.endpoint or (end.scheme in ("http", "https") and bool(end.netloc))
        if parts.scheme not in PROTOCOLS or not whole or not good_end or parts.query or parts.fragment:
            raise StillairError(NO_ADDRESS)


def raw_of(folder: Path, settings: Settings | None = None) -> RawStore:
    """The raw files of a data folder, wherever the settings (of the environment, where none are given) have them."""
    asked = settings or load()
    if not asked.raw_store:
        return RawStore(folder / RAW)
    address = StoreAddress(asked.raw_store, asked.raw_store_endpoint, str(folder / CACHE), asked.raw_cache_mb)
    return open_raw(asdict(address))


def open_raw(address: Any) -> RawStore:
    """The store that a `RawStore` named by its `address`."""
    if isinstance(address, str):
        return RawStore(Path(address))
    from server.archive.shared_store import SharedStore

    return SharedStore(StoreAddress(**address))
