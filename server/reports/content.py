"""What a report holds, before it is HTML or PDF."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from plotly.graph_objects import Figure


@dataclass(frozen=True, slots=True)
class Words:
    """Paragraphs; strong: they answer the question of the report."""

    lines: tuple[str, ...]
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Rows:
    """A table as it is read. shares: how wide its columns are, as shares of the page."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A figure with the words beneath it; most_in: its height on paper at most, in inches, where that is given."""

    figure: Figure
    words: str
    most_in: float = 0.0


@dataclass(frozen=True, slots=True)
class Signature:
    """Lines to sign on; `signed` tells of a signature that the archive holds."""

    signed: str


Block = Words | Rows | Drawn | Signature


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and what stands beneath it."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Report:
    """A report. made_of: what it was made of, in one line, at the foot of every page."""

    title: str
    under: str
    sections: tuple[Section, ...]
    made_of: str
