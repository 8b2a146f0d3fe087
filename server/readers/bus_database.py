"""Databases of the signals on a bus: DBC, KCD, SYM, ARXML, told apart by their content."""

from __future__ import annotations

import logging
import re
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from server.errors import LogError
from server.readers.bus_frames import EXTENDED
from server.readers.damage import readable
from server.readers.encoding import decode, detect_encoding
from server.testday.role_words import concepts

if TYPE_CHECKING:
    from cantools.database.can import Message

MAX_BYTES = 32 * 1024**2
_DECLARATION = re.compile(r"^\s*<\?xml[^>]*\?>")


@dataclass(frozen=True, slots=True, eq=False)
class BusDatabase:
    """Messages by key (identifier with EXTENDED), and those of parameter groups by theirs (SAE J1939-21)."""

    file: str
    messages: dict[int, Message]
    groups: dict[int, Message]
    names: dict[tuple[str, str], str]  # message and signal → name of the channel

    def find(self, key: int) -> tuple[Message | None, bool]:
        """Find the message of a frame, and whether by its parameter group, so that several senders share it."""
        if key in self.messages:
            return self.messages[key], False
        message = self.groups.get(group_key(key)) if key & EXTENDED else None
        return message, message is not None


def load_database(path: Path, name: str = "") -> BusDatabase:
    """Load a database; one that was loaded before and has not changed is not parsed again.

    Raises LogError where the file is missing, too large, or none of the formats.
    """
    try:
        stat = path.stat()
    except OSError as error:
        raise LogError(f"{name or path.name} cannot be opened: {error.strerror or error}.") from error
    return _load(path, name or path.name, stat.st_mtime_ns, stat.st_size)


def group_key(key: int) -> int:
    """Return the parameter group of a 29-bit identifier: without priority, sender, and (PDU 1) destination."""
    return key & (0x03FF_0000 if (key >> 16 & 0xFF) < 240 else 0x03FF_FF00)


@lru_cache(maxsize=8)
def _load(path: Path, name: str, _changed: int, size: int) -> BusDatabase:
    import cantools.database  # slow to import and not needed by every command

    logging.getLogger("cantools").setLevel(logging.CRITICAL)  # it warns on the console; what matters is said here
    if size > MAX_BYTES:
        raise LogError(f"{name} has {size / 1e6:,.0f} MB; a database of signals has {MAX_BYTES / 1e6:,.0f} at most.")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise LogError(f"{name} cannot be opened: {error.strerror or error}.") from error
    encoding = detect_encoding(data)
    raw = data[encoding.mark :]
    text = raw.decode(encoding.codec, "replace") if encoding.codec.startswith("utf-") else decode(raw, encoding)
    form = _form(name, text)
    with readable(name, f"a database of signals ({form.upper()})"):
        found = cantools.database.load_string(_DECLARATION.sub("", text), form, strict=False)
        messages = list(getattr(found, "messages", ()))
    if not messages:
        raise LogError(f"{name} defines no message of a bus.")
    keys = {m.frame_id | EXTENDED if m.is_extended_frame else m.frame_id: m for m in messages}
    groups = {group_key(key): m for key, m in keys.items() if m.protocol == "j1939"}
    return BusDatabase(name, keys, groups, _channel_names(messages))


def _form(name: str, text: str) -> str:
    """Tell the format by what only it holds."""
    head = text[:4096]
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        raise LogError(f"{name} defines entities of its own, as no database of signals does; it is not read.")
    if "<AUTOSAR" in head:
        return "arxml"
    if "<NetworkDefinition" in head or ":NetworkDefinition" in head:
        return "kcd"
    if re.search(r"^\s*FormatVersion\s*=", head, re.MULTILINE):
        return "sym"
    if re.search(r"^\s*(VERSION\s|NS_|BS_|BU_|BO_\s)", text, re.MULTILINE):
        return "dbc"
    raise LogError(f"{name} is no database of signals that is read here; bring a DBC, KCD, SYM or ARXML file.")


def _channel_names(messages: list[Message]) -> dict[tuple[str, str], str]:
    """Name a channel by its signal; by its message too where others have it, or it says what measured."""
    counts = Counter(signal.name for message in messages for signal in message.signals)
    names = {}
    for message in messages:
        by_satellite = "gps" in concepts(message.name)
        for signal in message.signals:
            told = counts[signal.name] == 1 and not (by_satellite and "gps" not in concepts(signal.name))
            names[message.name, signal.name] = signal.name if told else f"{signal.name} ({message.name})"
    return names
