"""What a bus may do at a device's port, for each kind: transfers as brisk, as slow and as crossed as
the standard allows, which a bridge, with one access at a time, never makes.

A driver says which roles mean something in a cycle, and with which levels; what the others carry is
open, and its user gives them noise. It decides from what it saw in earlier cycles and from dice alone.
"""

from __future__ import annotations

import random
from collections import deque
from dataclasses import dataclass
from typing import ClassVar

from busbox.check.own.port import OwnPort

Levels = dict[str, int]


@dataclass(frozen=True)
class Transfer:
    """One access.

    Attributes
    ----------
    write : 1 for a write
    word : word address
    lanes : that are selected
    data : word written
    start : first cycle in which it may begin
    """

    write: int
    word: int
    lanes: int = 0b1111
    data: int = 0
    start: int = 0


@dataclass(frozen=True)
class Answer:
    """The end of a transfer: an error or not, and the word read."""

    transfer: Transfer
    error: int
    data: int


class Driver:
    """Drives the port of one device; a subclass knows its kind.

    In each cycle: ``drive``, then ``take`` with what was seen.

    Parameters
    ----------
    own : the port
    address_bits : bits of its address
    dice : for pauses and the order of things

    Attributes
    ----------
    owed : cycles since the device last did what it has to do; 0 if that is nothing
    """

    def __init__(self, own: OwnPort, address_bits: int, dice: random.Random) -> None:
        self.own, self.dice = own, dice
        self._mask = (1 << address_bits) - 1
        self.queue: deque[Transfer] = deque()
        self.reset()

    def reset(self) -> None:
        """Forget everything, as a reset does."""
        self.owed = 0
        self.queue.clear()

    @property
    def idle(self) -> bool:
        """Whether no transfer waits or is under way."""
        return not self.queue

    @property
    def waits_for(self) -> str:
        """What the device owes, as a message says it."""
        return "no step of the device"

    def probe(self) -> bool:
        """Give the device what it may wait for against the rules; return whether there is any."""
        return False

    def drive(self, cycle: int) -> Levels:
        """Return the roles that mean something in this cycle."""
        raise NotImplementedError

    def take(self, seen: Levels) -> list[Answer]:
        """See the cycle that was driven, and return the transfers that ended in it."""
        raise NotImplementedError

    def meaning(self, seen: Levels) -> Levels:
        """Return what the device shows in the cycle, as far as it means something."""
        raise NotImplementedError

    def _pause(self) -> int:
        """Return how many cycles to wait before something: most often none."""
        return self.dice.choice((0, 0, 0, 1, 2, 5))

    def _address(self, transfer: Transfer) -> int:
        word = transfer.word
        return (word if self.own.counts_words else word << 2) & self._mask

    def _has(self, levels: Levels) -> Levels:
        """Return only the roles that the device has."""
        roles = self.own.roles
        return {name: level for name, level in levels.items() if name in roles}


class _OneByOne(Driver):
    """Transfers one after the other, with or without a pause."""

    def reset(self) -> None:
        super().reset()
        self._now: Transfer | None = None
        self._wait = 0

    @property
    def idle(self) -> bool:
        return not self.queue and self._now is None

    def _next(self, cycle: int) -> bool:
        """Begin the next transfer, if it may begin; return whether it did."""
        if self._now is not None or not self.queue:
            return False
        if self._wait:
            self._wait -= 1
            return False
        if self.queue[0].start > cycle:
            return False
        self._now = self.queue.popleft()
        return True

    def _end(self, seen: Levels, error: int, data: str) -> list[Answer]:
        assert self._now is not None
        answer = Answer(self._now, error, 0 if self._now.write else seen[data])
        self._now, self._wait, self.owed = None, self._pause(), 0
        return [answer]


class ApbDriver(_OneByOne):
    """APB: setup follows at once on the last cycle of a transfer, or PSEL is low for a while.

    While it is, the other signals are those of transfers to somebody else. Source: AMBA APB Protocol
    Specification, IHI 0024C, chapters 3 and 4.
    """

    def reset(self) -> None:
        super().reset()
        self._setup, self._ended = False, True

    def drive(self, cycle: int) -> Levels:
        self._setup = self._next(cycle)
        ended, self._ended = self._ended, False
        now = self._now
        if now is None:
            # After a transfer PENABLE falls; in every other cycle it may be high for somebody else.
            return {"psel": 0, "penable": 0} if ended else {"psel": 0}
        levels = {
            "psel": 1,
            "penable": int(not self._setup),
            "pwrite": now.write,
            "paddr": self._address(now),
            "pstrb": now.lanes if now.write else 0,
            "pprot": 0,
        }
        return self._has(levels | ({"pwdata": now.data} if now.write else {}))

    def take(self, seen: Levels) -> list[Answer]:
        if self._now is None or self._setup:
            return []
        if not seen.get("pready", 1):
            self.owed += 1
            return []
        self._ended = True
        return self._end(seen, seen.get("pslverr", 0), "prdata")

    def meaning(self, seen: Levels) -> Levels:
        if self._now is None or self._setup:
            return {}
        ready, error = seen.get("pready", 1), seen.get("pslverr", 0)
        shown = {"pready": ready}
        if ready:
            shown["pslverr"] = error
            if not self._now.write and not error:
                shown["prdata"] = seen["prdata"]
        return shown


class StrobesDriver(_OneByOne):
    """Plain strobes: select, or write and read, stay high until ready, with or without a pause.

    Where read data is late, its cycle has no access, and the address stays. Source: common practice, no
    source.
    """

    def reset(self) -> None:
        super().reset()
        self._due = False

    def drive(self, cycle: int) -> Levels:
        self._next(cycle)
        now = self._now
        called = int(now is not None and not self._due)
        levels = {"select": called, "write": 0, "read": 0}
        if now is not None:
            levels["address"] = self._address(now)
            levels["lanes"] = now.lanes
            if called:
                levels |= {"write": now.write, "read": int(not now.write)}
            if now.write:
                levels["write_data"] = now.data
        return self._has(levels)

    def _ends(self, seen: Levels) -> bool:
        """Whether the transfer ends in this cycle."""
        if self._now is None:
            return False
        if self._due:
            return True
        late = self.own.late and not self._now.write
        return bool(seen.get("ready", 1)) and not late

    def take(self, seen: Levels) -> list[Answer]:
        if self._now is None:
            return []
        if self._ends(seen):
            self._due = False
            return self._end(seen, seen.get("error", 0), "read_data")
        if seen.get("ready", 1):
            self._due = True
        else:
            self.owed += 1
        return []

    def meaning(self, seen: Levels) -> Levels:
        if self._now is None:
            return {}
        shown = {} if self._due else {"ready": seen.get("ready", 1)}
        if self._ends(seen):
            shown["error"] = error = seen.get("error", 0)
            if not self._now.write and not error:
                shown["read_data"] = seen["read_data"]
        return shown


class WishboneDriver(_OneByOne):
    """Wishbone: STB stays high from access to access, or falls; pipelined: requests before answers.

    Source: Wishbone B4, sections 3.1.3.1 and 3.1.3.2.
    """

    #: Requests without an answer, at the most, in pipelined mode.
    _OPEN: ClassVar[int] = 3

    def reset(self) -> None:
        super().reset()
        self._open: deque[Transfer] = deque()
        self._held = 0

    @property
    def idle(self) -> bool:
        return super().idle and not self._open

    def drive(self, cycle: int) -> Levels:
        if len(self._open) < self._OPEN:
            self._next(cycle)
        now = self._now
        busy = now is not None or bool(self._open)
        if not busy:
            self._held = self._held and self.dice.randrange(4)
        levels = {"cyc": int(busy or bool(self._held)), "stb": int(now is not None)}
        levels |= {"cti": 0, "bte": 0, "lock": 0}
        if now is not None:
            levels |= {"we": now.write, "adr": self._address(now), "sel": now.lanes}
            if now.write:
                levels["write_data"] = now.data
        return self._has(levels)

    def take(self, seen: Levels) -> list[Answer]:
        ended = bool(seen["ack"] or seen.get("err", 0))
        pipelined = self.own.pipelined
        accepted = self._now is not None and (not seen["stall"] if pipelined else ended)
        if accepted:
            assert self._now is not None
            self._open.append(self._now)
            self._now, self._wait = None, self._pause()
        waits = self._now is not None or bool(self._open)
        self.owed = self.owed + 1 if waits and not accepted and not ended else 0
        if not ended or not self._open:
            return []
        self._held = self.dice.randrange(2)
        transfer = self._open.popleft()
        data = 0 if transfer.write else seen["read_data"]
        return [Answer(transfer, seen.get("err", 0), data)]

    def meaning(self, seen: Levels) -> Levels:
        shown = {"ack": seen["ack"], "err": seen.get("err", 0)}
        if self._now is not None and self.own.pipelined:
            shown["stall"] = seen["stall"]
        asked = self._open[0] if self._open else self._now
        if seen["ack"] and asked is not None and not asked.write:
            shown["read_data"] = seen["read_data"]
        return shown
