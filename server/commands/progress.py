"""Progress of long work on standard error: one line that changes, or a line a step where none can."""

from __future__ import annotations

import sys
from types import TracebackType


class Progress:
    """Called with a fraction from 0 to 1 and what is being done; cleans its line up at the end."""

    def __init__(self) -> None:
        self._stream = sys.stderr
        self._in_place = self._stream.isatty()
        self._shown = ""
        self._said = ""

    def __call__(self, fraction: float, text: str) -> None:
        """Show the state, when it differs from what stands there."""
        line = f"{100.0 * min(max(fraction, 0.0), 1.0):3.0f} %  {text}"
        if self._in_place:
            self._redraw(line)
        elif text != self._said:
            self._stream.write(f"{line}\n")
        self._said = text
        self._stream.flush()

    def __enter__(self) -> Progress:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        """Clear the changing line, so that the result or the error stands alone."""
        if self._in_place and self._shown:
            self._redraw("")
            self._stream.flush()

    def _redraw(self, line: str) -> None:
        self._stream.write(f"\r{line.ljust(len(self._shown))}")
        if not line:
            self._stream.write("\r")
        self._shown = line
