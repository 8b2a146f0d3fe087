"""What does heavy work: one interface, whether it is this process, several of this computer, or other computers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, Protocol

Progress = Callable[[float, str], None]
Said = Callable[[int, float, str], None]  # the place of a task, how far it is, in words
Work = Callable[[Any, Progress], Any]


class Pool(Protocol):
    """Does the same to many tasks. Closing the iterator calls off what has not begun."""

    def each(self, work: Work, tasks: Sequence[Any], said: Said) -> Iterator[tuple[int, Any]]:
        """The outcome of each task with its place, in the order in which they end.

        work: a function of a module (or a partial of one), of a task and of what takes its progress; `said` hears that
        where the work is done in this process. What it raises ends all of the work. Raises StillairError, one
        sentence, where the work cannot be done there.
        """


def unheard(_place: int, _fraction: float, _text: str) -> None:
    """Nobody listens to how far a task is."""


def silent(_fraction: float, _text: str) -> None:
    """Nobody listens."""


class Here:
    """This process, one task after the other."""

    def each(self, work: Work, tasks: Sequence[Any], said: Said) -> Iterator[tuple[int, Any]]:
        """See `Pool`."""
        for place, task in enumerate(tasks):
            yield place, work(task, lambda fraction, text, place=place: said(place, fraction, text))  # type: ignore[misc]


def pool_or(elsewhere: Pool) -> Pool:
    """The computers that the settings name; where they name none, `elsewhere`."""
    from server.settings import load

    address = load().scheduler
    if not address:
        return elsewhere
    from server.heavy.cluster import Cluster

    return Cluster(address)
