"""The process that reads one MDF recording: PATH, its name in sentences, database or "", folder for the log."""

from __future__ import annotations

from pathlib import Path

from server.errors import StillairError
from server.readers.limits import MAX_BYTES

REFUSAL = "refusal.txt"


def main(path: str, name: str, signals: str, folder: str) -> None:
    """Read the recording and write the log, or the sentence that refuses it, into the folder."""
    from server.readers.log_store import save_log
    from server.readers.mdf_read import read_mdf

    _bound_memory(3 * MAX_BYTES + Path(path).stat().st_size)
    try:
        save_log(read_mdf(Path(path), name, Path(signals) if signals else None), Path(folder))
    except StillairError as error:
        (Path(folder) / REFUSAL).write_text(str(error), encoding="utf-8")


def _bound_memory(count: int) -> None:
    """Give this process no more memory than a log can need; Windows has no such bound."""
    try:
        import resource
    except ImportError:
        return
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    most = count if hard == resource.RLIM_INFINITY else min(count, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))

