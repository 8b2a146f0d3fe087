"""Where a study's numbers go: a JSON, records beside it, a table on the screen."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any


def print_table(found: dict[str, Any]) -> None:
    rows = [found["columns"], *found["rows"]]
    widths = [max(len(r[k]) for r in rows) for k in range(len(rows[0]))]
    print(found["title"], found["text"], sep="\n")
    for r in rows:
        first, *others = (cell.rjust(w) for cell, w in zip(r, widths, strict=True))
        print("  ".join([first.strip().ljust(widths[0]), *others]))


def store(out: Path | None, part: str = "") -> Path | None:
    """Records lie beside the JSON, in a file for each plan."""
    if out is None:
        return None
    return out.with_suffix(f".{part}.jsonl" if part else ".jsonl")


def write(out: Path | None, found: dict[str, Any]) -> None:
    if out is not None:
        out.write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
