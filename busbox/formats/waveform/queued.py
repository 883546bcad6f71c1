"""Buses that take requests before the answers to others: Wishbone pipelined, AXI4-Lite."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.formats.waveform.held import Spans, payload
from busbox.formats.waveform.notes import Notes
from busbox.formats.waveform.sampling import Rows
from busbox.formats.waveform.signal_map import Wired
from busbox.formats.waveform.tokens import Values
from busbox.formats.waveform.transfers import Seen, all_lanes, no_data

Array = NDArray[Any]


@dataclass(frozen=True)
class Requests:
    """Requests that were taken: when each began, and what it held."""

    start: Array
    write: Array
    address: Values
    lanes: Values | None
    data: Values

    def __len__(self) -> int:
        return len(self.start)

    def take(self, places: Any) -> Requests:
        """Return some of them."""
        lanes = None if self.lanes is None else self.lanes.take(places)
        return Requests(
            self.start[places], self.write[places], self.address.take(places), lanes,
            self.data.take(places),
        )  # fmt: skip

    def before(self, later: Requests) -> Requests:
        """Return these, then others."""
        lanes = None
        if self.lanes is not None and later.lanes is not None:
            lanes = Values.joined(self.lanes, later.lanes)
        return Requests(
            np.concatenate((self.start, later.start)), np.concatenate((self.write, later.write)),
            Values.joined(self.address, later.address), lanes, Values.joined(self.data, later.data),
        )  # fmt: skip


class Channel:
    """One channel of requests, with those that wait for their answers."""

    def __init__(self) -> None:
        self.spans = Spans()
        self.waiting: Requests | None = None

    @property
    def count(self) -> int:
        """How many wait."""
        return 0 if self.waiting is None else len(self.waiting)

    def put(self, requests: Requests) -> Requests:
        """Add requests, and return all that wait."""
        self.waiting = requests if self.waiting is None else self.waiting.before(requests)
        return self.waiting

    def pop(self, count: int) -> Requests:
        """Take the first requests out."""
        assert self.waiting is not None
        first, self.waiting = self.waiting.take(slice(count)), self.waiting.take(slice(count, None))
        return first

    def clear(self) -> int:
        """Forget all, and return how many there were."""
        count = self.count + (self.spans.open is not None)
        self.spans.open, self.waiting = None, None
        return count


def _no_answers_ahead(
    rows: Rows, taken: list[tuple[int, Array]], answers: Array, what: str
) -> None:
    """Refuse an answer that has no request; ``taken``: those that waited, and those of these rows."""
    for waiting, requests in taken:
        left = waiting + np.cumsum(requests) - np.cumsum(answers)
        for row in np.flatnonzero(left < 0)[:1]:
            raise rows.signals.moments.wrong(rows.times[row], f"{what} without a request")


class WishbonePipelined:
    """Wishbone B4, chapter 5: requests while STALL is low, answers in their order."""

    def __init__(self, wires: Wired, notes: Notes) -> None:
        self._notes = notes
        self._channel = Channel()

    def take(self, rows: Rows) -> Seen:
        """Return the accesses that end in some rows."""
        cyc = rows.high("cyc", default=True)
        active = cyc & rows.high("stb", cyc)
        taken = active & ~rows.high("stall", active)
        ack, err, rty = (rows.high(name, cyc) & cyc for name in ("ack", "err", "rty"))
        answered = ack | err | rty
        channel = self._channel
        _no_answers_ahead(rows, [(channel.count, taken)], answered, "an answer")
        left = channel.count + np.cumsum(taken) - np.cumsum(answered)
        for row in np.flatnonzero(~cyc & (left > 0))[:1]:
            text = f"CYC falls while a request has no answer ({left[row]})"
            raise rows.signals.moments.wrong(rows.times[row], text)
        at, start, given_up = channel.spans.take(active, taken, rows.cycles)
        self._notes.given_up += given_up
        values = rows.at("we", at)
        rows.signals.known("we", values, rows.times[at])
        write = values.ones != 0
        parts = payload(rows, at, write, "adr", ("sel", "sel"), "", "write_data")
        channel.put(Requests(start, write, *parts))
        ends = np.flatnonzero(answered)
        return self._answered(
            rows, channel.pop(len(ends)), ends, (ack & ~err)[ends], (rty & ~ack & ~err)[ends]
        )

    def _answered(
        self, rows: Rows, requests: Requests, ends: Array, good: Array, rty: Array
    ) -> Seen:
        read = rows.at("read_data", ends) if "read_data" in rows else no_data(len(ends))
        data = Values(
            np.where(requests.write, requests.data.ones, read.ones),
            np.where(requests.write, requests.data.unknown, read.unknown),
        )
        self._notes.retried += int(np.count_nonzero(rty))
        seen = Seen(
            requests.start, rows.cycles[ends], rows.times[ends], requests.write, requests.address,
            requests.lanes, data, good,
        )  # fmt: skip
        return seen.take(~rty)

    def cut(self) -> None:
        """Forget the accesses that a reset cuts off."""
        self._notes.cut_off += self._channel.clear()

    def end(self) -> Seen | None:
        """Count the accesses that have no end."""
        self._notes.unfinished += self._channel.clear()
        return None


class Axi4Lite:
    """AMBA AXI4-Lite: a write ends with its response, a read with its data."""

    def __init__(self, wires: Wired, notes: Notes) -> None:
        self._notes, self._wires = notes, wires
        self._address, self._data, self._read = Channel(), Channel(), Channel()

    def take(self, rows: Rows) -> Seen:
        """Return the accesses that end in some rows."""
        return Seen.both(self._writes(rows), self._reads(rows))

    def _taken(self, rows: Rows, channel: Channel, name: str) -> tuple[Array, Array, Array]:
        """Return which rows take a request of a channel, and the rows and starts of these requests."""
        valid = rows.high(f"{name}valid")
        taken = valid & rows.high(f"{name}ready", valid)
        at, start, given_up = channel.spans.take(valid, taken, rows.cycles)
        self._notes.given_up += given_up
        return taken, at, start

    def _answers(self, rows: Rows, name: str) -> tuple[Array, Array]:
        """Return which rows end an access, and whether without an error."""
        valid = rows.high(f"{name}valid")
        answered = valid & rows.high(f"{name}ready", valid)
        if f"{name}resp" not in rows:
            return answered, answered
        at = np.flatnonzero(answered)
        values = rows.at(f"{name}resp", at)
        rows.signals.known(f"{name}resp", values, rows.times[at])
        good = np.zeros(len(answered), dtype=bool)
        good[at] = values.ones < 2  # OKAY and EXOKAY; SLVERR is 2, DECERR 3
        return answered, good

    def _writes(self, rows: Rows) -> Seen:
        addressed, at_address, start_address = self._taken(rows, self._address, "aw")
        given, at_data, start_data = self._taken(rows, self._data, "w")
        answered, good = self._answers(rows, "b")
        taken = [(self._address.count, addressed), (self._data.count, given)]
        _no_answers_ahead(rows, taken, answered, "the response of a write")
        nothing = no_data(len(at_address))
        yes = np.ones(len(at_address), dtype=bool)
        self._address.put(
            Requests(start_address, yes, rows.at("awaddr", at_address), None, nothing)
        )
        lanes = rows.at("wstrb", at_data) if "wstrb" in rows else None
        data = rows.at("wdata", at_data)
        self._data.put(Requests(start_data, np.ones(len(at_data), dtype=bool), data, lanes, data))
        ends = np.flatnonzero(answered)
        address, data_part = self._address.pop(len(ends)), self._data.pop(len(ends))
        return Seen(
            np.minimum(address.start, data_part.start), rows.cycles[ends], rows.times[ends],
            address.write, address.address, data_part.lanes, data_part.data, good[ends],
        )  # fmt: skip

    def _reads(self, rows: Rows) -> Seen:
        taken, at, start = self._taken(rows, self._read, "ar")
        answered, good = self._answers(rows, "r")
        _no_answers_ahead(rows, [(self._read.count, taken)], answered, "the data of a read")
        lanes = all_lanes(self._wires, len(at)) if "wstrb" in rows else None
        no = np.zeros(len(at), dtype=bool)
        self._read.put(Requests(start, no, rows.at("araddr", at), lanes, no_data(len(at))))
        ends = np.flatnonzero(answered)
        requests = self._read.pop(len(ends))
        data = rows.at("rdata", ends) if "rdata" in rows else requests.data
        return Seen(
            requests.start, rows.cycles[ends], rows.times[ends], requests.write, requests.address,
            requests.lanes, data, good[ends],
        )  # fmt: skip

    def _clear(self) -> int:
        writes = max(self._address.clear(), self._data.clear())
        return writes + self._read.clear()

    def cut(self) -> None:
        """Forget the accesses that a reset cuts off."""
        self._notes.cut_off += self._clear()

    def end(self) -> Seen | None:
        """Count the accesses that have no end."""
        self._notes.unfinished += self._clear()
        return None
