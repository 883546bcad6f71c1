"""Steps from a list or a file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from copy import copy

from busbox.basics.growing import Column
from busbox.cpu.source import Moment, Routine
from busbox.cpu.steps import Handler, Step
from busbox.cpu.table import AccessTable, steps_of

#: Steps of one traffic file kept one by one; traffic with more is read again whenever it is played.
#: Accesses in tables do not count: they are kept as columns, which go to a file where they are long.
KEPT_STEPS = 1 << 17


class ListedSource:
    """Steps from a list or a file, which do not depend on the state of the run.

    Parameters
    ----------
    read : returns the steps from the first one on, handlers among them; called more than once if
        there are more than :data:`KEPT_STEPS` outside of tables

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
        self._tables = Column("i8")
        self._kept: list[Step | range] | None = []
        count = alone = 0
        written: list[Handler] = []
        for piece in read():
            if isinstance(piece, Handler):
                written.append(piece)
                continue
            count += len(piece) if isinstance(piece, AccessTable) else 1
            alone += not isinstance(piece, AccessTable)
            if alone > KEPT_STEPS:
                self._kept, self._tables = None, Column("i8")
            elif self._kept is not None:
                self._kept.append(
                    self._put_away(piece) if isinstance(piece, AccessTable) else piece
                )
        self.count: int | None = count
        self.written = tuple(written)
        self.handlers = tuple(_routines(written, count))
        self._begin()

    def _put_away(self, table: AccessTable) -> range:
        """Keep a table as numbers; return where."""
        first = len(self._tables)
        self._tables.extend(table.columns.ravel())
        return range(first, len(self._tables))

    def _begin(self) -> None:
        self._rest = self.pieces()
        self._steps = steps_of(self._rest)

    def pieces(self) -> Iterator[Step | AccessTable]:
        """Return the steps, without the handlers, many at once where the source provides tables."""
        if self._kept is None:
            yield from (piece for piece in self._read() if not isinstance(piece, Handler))
            return
        numbers = self._tables.array()
        for one in self._kept:
            if isinstance(one, range):
                yield AccessTable.of(numbers[one.start : one.stop])
            else:
                yield one

    def everything(self) -> Iterator[Step | AccessTable]:
        """Yield all steps, those of the handlers last; as tables where the source provides them."""
        yield from self.pieces()
        for handler in self.written:
            yield from handler.steps

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
