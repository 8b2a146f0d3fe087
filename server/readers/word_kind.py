"""What most words of a column are: numbers, clock times, dates, words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from server.readers.cells import Kind, kind_of

_LOOK_WORDS = 200


def usual_kind(words: Sequence[str]) -> Kind:
    """Tell the kind of most of a column's different words; "blank" where none says anything."""
    counts = Counter(kind_of(word) for word in words[:_LOOK_WORDS])
    counts.pop("blank", None)
    return counts.most_common(1)[0][0] if counts else "blank"
