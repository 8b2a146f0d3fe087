"""Measured beside predicted, as lines for a terminal: the sentence first, then verdicts, then what gets none."""

from __future__ import annotations

from server.analysis.correlated import DayCorrelation
from server.analysis.correlation_words import day_counts, day_sentence, sentence


def correlation_lines(found: DayCorrelation) -> list[list[str]]:
    """Sections of lines; nothing where nothing was predicted."""
    if not found.totals and not found.silent:
        return []
    margins = found.margins
    sections = [["Measured against predicted", f"  {day_sentence(found)}", f"  {day_counts(found)}"]]
    if found.totals:
        sections.append(["Totals", *(f"  {sentence(one, margins.total)}" for one in found.totals)])
    if found.changes:
        sections.append(["Changes", *(f"  {sentence(one, margins.change)}" for one in found.changes)])
    return [*sections, _assumed(found)]


def _assumed(found: DayCorrelation) -> list[str]:
    """How the predictions were told, what was assumed, and what gets no verdict; each once."""
    judged = (*found.totals, *found.changes)
    notes = dict.fromkeys(note for one in judged for note in one.notes if one.predicted is not None)
    how = dict.fromkeys(
        f"{one.setup}: predicted as {one.how}, at {found.heights[one.setup].how}" for one in found.totals
    )
    silent = [f"{one.setup}, {one.quantity}: no verdict, for {one.why}" for one in found.silent]
    lines = [*how, *notes, *found.told, *silent]
    return ["What the verdicts stand on", *(f"  {line[:1].upper()}{line[1:].removesuffix('.')}." for line in lines)]
