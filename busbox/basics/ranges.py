"""Things that apply to a range of addresses, looked up by address."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator
from itertools import accumulate
from typing import Generic, TypeVar

T = TypeVar("T")


class Ranges(Generic[T]):
    """Things with their address ranges, which may overlap.

    Parameters
    ----------
    spans : (first address, address after the last, thing); an empty range is never found
    """

    def __init__(self, spans: Iterable[tuple[int, int, T]]) -> None:
        self._spans = sorted(spans, key=lambda span: span[:2])
        self._lows = [low for low, _, _ in self._spans]
        #: The furthest end of each span and all before it: where to stop looking back.
        self._reach = list(accumulate((high for _, high, _ in self._spans), max))

    def __iter__(self) -> Iterator[tuple[int, int, T]]:
        """Yield each thing with its range, in the order of their starts."""
        return iter(self._spans)

    def at(self, address: int) -> list[T]:
        """Return everything that covers an address, latest start first."""
        found = []
        place = bisect_right(self._lows, address) - 1
        while place >= 0 and self._reach[place] > address:
            _, high, thing = self._spans[place]
            if high > address:
                found.append(thing)
            place -= 1
        return found
