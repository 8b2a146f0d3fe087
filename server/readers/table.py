"""The data lines as columns of numbers, by pandas' C parser in chunks; other cells are kept as words."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from server.errors import LogError
from server.readers.cells import MORE_BLANKS, Kind, number_of
from server.readers.feed import Feed
from server.readers.layout import Layout
from server.readers.separators import WHITESPACE
from server.testday.values import FloatArray

_CHUNK_CELLS = 250_000
_MIN_ROWS = 256


@dataclass(slots=True)
class TextPart:
    """A chunk's rows of a column that hold words: first row, index into `words` (−1 blank), the words."""

    first_row: int
    codes: NDArray[np.intp]
    words: list[str]


@dataclass(slots=True)
class Table:
    """Numbers, shape (n_columns, n_rows), NaN where blank or no number; and the words of columns with any."""

    numbers: FloatArray
    texts: dict[int, list[TextPart]] = field(default_factory=dict)

    @property
    def n_rows(self) -> int:
        """Number of rows."""
        return int(self.numbers.shape[1])

    def words(self, column: int) -> list[str]:
        """All different words of a column."""
        return list(dict.fromkeys(word for part in self.texts.get(column, ()) for word in part.words))

    def indexed(self, column: int) -> tuple[list[str], NDArray[np.intp]]:
        """The words of a column, chunk by chunk, and the index of each row's word in them, −1 for none."""
        words: list[str] = []
        index = np.full(self.n_rows, -1, dtype=np.intp)
        for part in self.texts.get(column, ()):
            rows = slice(part.first_row, part.first_row + len(part.codes))
            index[rows] = np.where(part.codes >= 0, part.codes + len(words), -1)
            words += part.words
        return words, index

    def counts(self, column: int) -> dict[str, int]:
        """All different words of a column and how often each stands."""
        total: dict[str, int] = {}
        for part in self.texts.get(column, ()):
            numbers = np.bincount(part.codes[part.codes >= 0], minlength=len(part.words))
            for word, count in zip(part.words, numbers.tolist(), strict=True):
                total[word] = total.get(word, 0) + count
        return total

    def mapped(self, column: int, values: Mapping[str, float], keep_numbers: bool = True) -> FloatArray:
        """The column with its words replaced by numbers, NaN where a word has none.

        keep_numbers: whether a cell that is a number stays one.
        """
        out = self.numbers[column].copy() if keep_numbers else np.full(self.n_rows, np.nan)
        for part in self.texts.get(column, ()):
            lookup = np.array([*(values.get(word, np.nan) for word in part.words), np.nan])[part.codes]
            rows = slice(part.first_row, part.first_row + len(part.codes))
            out[rows] = np.where(np.isnan(lookup), out[rows], lookup)
        return out


def parse_table(name: str, feed: Feed, layout: Layout, capacity: int) -> Table:
    """Parse the data lines into a table.

    capacity: the number of rows to expect.
    Raises LogError where the parser cannot go on.
    """
    numbers = np.empty((layout.n_columns, capacity))
    texts: dict[int, list[TextPart]] = {}
    row = 0
    for chunk in _chunks(name, feed, layout):
        stop = row + len(chunk)
        if stop > numbers.shape[1]:  # line ends of more than one kind
            numbers = np.concatenate([numbers, np.empty((layout.n_columns, stop))], axis=1)
        for index in range(layout.n_columns):
            column = chunk[index]
            if column.dtype.kind in "fiub":
                numbers[index, row:stop] = column.to_numpy()
            else:
                codes, unique = pd.factorize(column)
                words = [str(word) for word in np.asarray(unique, dtype=object)]
                kind = layout.kinds[index]
                numbers[index, row:stop], part = read_words(codes, words, kind, row, layout.decimal)
                if part is not None:
                    texts.setdefault(index, []).append(part)
        row = stop
    return Table(numbers[:, :row], texts)


def _chunks(name: str, feed: Feed, layout: Layout) -> Iterator[pd.DataFrame]:
    rows = max(_MIN_ROWS, _CHUNK_CELLS // layout.n_columns)
    feed.first_line = _model_line(layout)
    try:
        chunks = pd.read_csv(  # type: ignore[call-overload]  # anything with read() will do
            feed,
            sep=r"\s+" if layout.separator == WHITESPACE else layout.separator,
            decimal=layout.decimal,
            thousands=layout.thousands,
            header=None,
            names=range(layout.n_columns),
            index_col=False,
            na_values=list(MORE_BLANKS),
            quoting=csv.QUOTE_MINIMAL if layout.quoted else csv.QUOTE_NONE,
            skipinitialspace=layout.padded,
            on_bad_lines="skip",
            encoding_errors="replace",
            chunksize=rows,
            low_memory=False,
            engine="c",
        )
        yield next(chunks).iloc[1:]
        yield from chunks
    except pd.errors.EmptyDataError:
        return
    except (pd.errors.ParserError, ValueError, OverflowError) as error:
        raise LogError(_sentence(name, layout, str(error))) from error


def _model_line(layout: Layout) -> bytes:
    """A first line of the right width: the parser holds all lines against the first one's."""
    cell = "0" if layout.separator == WHITESPACE else ""
    return (layout.separator.join([cell] * layout.n_columns) + "\n").encode()


def _sentence(name: str, layout: Layout, error: str) -> str:
    quote = re.search(r"EOF inside string starting at row (\d+)", error)
    if quote:
        line = layout.first_line + int(quote[1])
        return f"{name}: a quote is opened near line {line:,} and never closed; take it out."
    return f"{name} cannot be read as a table: {error.splitlines()[0].rstrip('.')}."


def read_words(
    codes: NDArray[np.intp], words: list[str], kind: Kind, first_row: int, decimal: str = "."
) -> tuple[FloatArray, TextPart | None]:
    """Read numbers from a column of words; the words stay too, where one of them is no number.

    codes: index of each row's word, −1 where blank, shape (n_rows,). kind: of most of the column's cells.
    """
    if kind in ("clock", "date", "datetime"):
        return np.full(len(codes), np.nan), TextPart(first_row, codes, words)
    values = np.array([*(number_of(word, decimal) for word in words), np.nan])
    part = TextPart(first_row, codes, words) if np.isnan(values[:-1]).any() else None
    return values[codes], part
