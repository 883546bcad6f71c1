"""Steps from a list or a file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from copy import copy

from busbox.cpu.source import Moment, Routine
from busbox.cpu.steps import Handler, Step
from busbox.cpu.table import AccessTable, steps_of

#: Steps of one traffic file kept in memory; longer traffic is read again whenever it is played.
KEPT_STEPS = 1 << 17


class ListedSource:
    """Steps from a list or a file, which do not depend on the state of the run.

    Parameters
    ----------
    read : returns the steps from the first one on, handlers among them; called more than once if
        there are more than :data:`KEPT_STEPS`

    Attributes
    ----------
    written : the handlers among the steps

    Raises
    ------
    InputError : what ``read`` raises, before the first step is played
    """

    ahead = True

    def __init__(self, read: Callable[[], Iterable[Step | AccessTable]]) -> None:
        self._read = read
        self._kept: list[Step | AccessTable] | None = []
        count = 0
        written: list[Handler] = []
        for piece in read():
            if isinstance(piece, Handler):
                written.append(piece)
                continue
            count += len(piece) if isinstance(piece, AccessTable) else 1
            if count > KEPT_STEPS:
                self._kept = None
            elif self._kept is not None:
                self._kept.append(piece)
        self.count: int | None = count
        self.written = tuple(written)
        self.handlers = tuple(_routines(written, count))
        self._begin()

    def _begin(self) -> None:
        self._rest = self.pieces()
        self._steps = steps_of(self._rest)

    def pieces(self) -> Iterator[Step | AccessTable]:
        """Return the steps, without the handlers, many at once where the source provides tables."""
        if self._kept is not None:
            return iter(self._kept)
        return (piece for piece in self._read() if not isinstance(piece, Handler))

    def take(self) -> Step | AccessTable | None:
        """Return the next step, or many at once; not to be mixed with :meth:`next`."""
        return next(self._rest, None)

    def next(self, moment: Moment) -> Step | None:
        """Return the next step."""
        return next(self._steps, None)

    def again(self) -> ListedSource:
        """Return a source of the same steps."""
        fresh = copy(self)
        fresh._begin()
        return fresh

    def close(self) -> None:
        """Do nothing: there is nothing to release."""


def _routines(written: Iterable[Handler], count: int) -> Iterator[Routine]:
    """Yield the handlers of a list as routines; their steps are numbered after all others."""
    first = count
    for one in written:
        start = ListedSource(lambda steps=one.steps: steps).again  # type: ignore[misc]
        yield Routine(one.name, one.pin, one.enter, one.leave, start, first, one.line)
        first += len(one.steps)
