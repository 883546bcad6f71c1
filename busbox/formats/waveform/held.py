"""Buses whose master holds a request until it ends: Wishbone classic, valid/ready, APB."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.formats.waveform.notes import Notes
from busbox.formats.waveform.sampling import Rows
from busbox.formats.waveform.signal_map import Wired
from busbox.formats.waveform.tokens import Values
from busbox.formats.waveform.transfers import Seen, all_lanes, no_data

Array = NDArray[Any]


class Spans:
    """Finds when each request began: in the first cycle after an idle one, or after an end.

    Attributes
    ----------
    open : the cycle in which a request began that has not ended; None if there is none
    """

    def __init__(self) -> None:
        self.open: int | None = None

    def take(self, active: Array, done: Array, cycles: Array) -> tuple[Array, Array, int]:
        """Return the rows of ends, the cycles in which they began, and how many were given up.

        Parameters
        ----------
        active : whether there is a request
        done : whether it ends; only where there is one
        """
        fresh = np.ones(len(active), dtype=bool)
        fresh[1:] = ~active[:-1] | done[:-1]
        fresh[0] = self.open is None
        begins = np.flatnonzero(active & fresh)
        places, began = begins, cycles[begins]
        if self.open is not None:
            places, began = np.concatenate(([-1], places)), np.concatenate(([self.open], began))
        ends = np.flatnonzero(done)
        start = began[np.searchsorted(places, ends, "right") - 1] if len(ends) else ends
        goes_on = bool(active[-1] and not done[-1])
        self.open = int(began[-1]) if goes_on else None
        return ends, start, len(began) - len(ends) - goes_on


def payload(
    rows: Rows, at: Array, write: Array, address: str, lanes: tuple[str, str], read_data: str,
    write_data: str,
) -> tuple[Values, Values | None, Values]:  # fmt: skip
    """Return addresses, lanes and data in some rows.

    Parameters
    ----------
    lanes : the signals of the lanes of reads and of writes, "" for none: then all are selected
    """
    wires = rows.signals.wires
    found = rows.at(write_data, at)
    read = rows.at(read_data, at) if read_data in rows else no_data(len(at))
    data = _either(write, found, read)
    if lanes[1] not in rows:
        return rows.at(address, at), None, data
    of_writes = rows.at(lanes[1], at)
    of_reads = rows.at(lanes[0], at) if lanes[0] in rows else all_lanes(wires, len(at))
    return rows.at(address, at), _either(write, of_writes, of_reads), data


def _either(write: Array, of_writes: Values, of_reads: Values) -> Values:
    return Values(
        np.where(write, of_writes.ones, of_reads.ones),
        np.where(write, of_writes.unknown, of_reads.unknown),
    )


class Held:
    """Decodes a bus whose master holds a request until it ends. A subclass says when that is.

    ``phases`` returns, for each row, whether there is a request, whether it ends, whether a read then
    has data, and whether it ends without having been an access.
    """

    address, lanes = "", ("", "")
    read_data, write_data = "read_data", "write_data"
    #: The signal that is not 0 for a write.
    write = ""

    def __init__(self, wires: Wired, notes: Notes) -> None:
        self._notes = notes
        self._spans = Spans()
        self._left: tuple[Seen, Callable[[], None]] | None = None

    def phases(self, rows: Rows) -> tuple[Array, Array, Array, Array]:
        raise NotImplementedError

    def take(self, rows: Rows) -> Seen:
        """Return the accesses that end in some rows."""
        active, done, good, retry = self.phases(rows)
        for row in np.flatnonzero(done & (rows.lengths > 1))[:1]:
            text = "the counter of cycles must step in every cycle in which an access ends"
            raise rows.signals.moments.wrong(rows.times[row], text)
        ends, start, given_up = self._spans.take(active, done, rows.cycles)
        self._notes.given_up += given_up
        self._left = None
        if self._spans.open is not None:
            last = np.array([len(rows.cycles) - 1])
            began = np.array([self._spans.open])
            write = rows.at(self.write, last)
            check = partial(rows.signals.known, self.write, write, rows.times[last])
            self._left = self._seen(rows, last, began, write, np.zeros(1, dtype=bool)), check
        retried = retry[ends]
        self._notes.retried += int(np.count_nonzero(retried))
        ends, start = ends[~retried], start[~retried]
        write = rows.at(self.write, ends)
        rows.signals.known(self.write, write, rows.times[ends])
        return self._seen(rows, ends, start, write, good[ends])

    def _seen(self, rows: Rows, at: Array, start: Array, write: Values, good: Array) -> Seen:
        parts = payload(
            rows, at, write.ones != 0, self.address, self.lanes, self.read_data, self.write_data
        )
        return Seen(start, rows.cycles[at], rows.times[at], write.ones != 0, *parts, good)

    def cut(self) -> None:
        """Forget the access that a reset cuts off."""
        self._notes.cut_off += self._spans.open is not None
        self._spans.open, self._left = None, None

    def end(self) -> Seen | None:
        """Return the access that is open at the end of the file."""
        if self._left is None:
            return None
        seen, check = self._left
        check()
        self._notes.open_at_end += 1
        return seen


class WishboneClassic(Held):
    """Wishbone B4, chapter 3: an access lasts until ACK, ERR or RTY."""

    address, lanes, write = "adr", ("sel", "sel"), "we"

    def phases(self, rows: Rows) -> tuple[Array, Array, Array, Array]:
        cyc = rows.high("cyc", default=True)
        active = cyc & rows.high("stb", cyc)
        ack, err, rty = (rows.high(name, active) & active for name in ("ack", "err", "rty"))
        return active, ack | err | rty, ack & ~err, rty & ~ack & ~err


class ValidReady(Held):
    """A request that is held until it is ready."""

    address, lanes, write = "address", ("", "write_strobes"), "write_strobes"

    def phases(self, rows: Rows) -> tuple[Array, Array, Array, Array]:
        active = rows.high("valid")
        done = rows.high("ready", active) & active
        return active, done, done, np.zeros(len(done), dtype=bool)


class Apb(Held):
    """AMBA APB: a set-up cycle, then PENABLE until PREADY."""

    address, lanes, write = "paddr", ("", "pstrb"), "pwrite"
    read_data, write_data = "prdata", "pwdata"

    def phases(self, rows: Rows) -> tuple[Array, Array, Array, Array]:
        active = rows.high("psel")
        enabled = active & rows.high("penable", active)
        done = enabled & rows.high("pready", enabled, default=True)
        good = done & ~rows.high("pslverr", done)
        return active, done, good, np.zeros(len(done), dtype=bool)
