"""Devices in Python at the far side of a bridge, one for each kind of port: strict and unsteady.

Each checks, cycle by cycle, what its standard asks of the bus, answers when its dice say so, and shows
noise on every line that means nothing in a cycle. What it was asked for is in ``transfers``.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

Levels = dict[str, int]
WORD = 0xFFFF_FFFF


@dataclass
class Transfer:
    """What a device was asked for, and how it has ended; ``data`` is the word that a read gave."""

    write: bool
    address: int
    data: int
    lanes: int
    error: bool
    end: int


class PortDevice:
    """Common parts.

    Parameters
    ----------
    patience : chance in percent that the device lets a cycle pass where it may
    """

    #: Lines that must not change while the device has not answered.
    steady: tuple[str, ...] = ()

    def __init__(self, dice: random.Random, lacks: frozenset[str], patience: int) -> None:
        self.dice, self.lacks, self.patience = dice, lacks, patience
        self.transfers: list[Transfer] = []
        self.reset()

    def reset(self) -> None:
        """Forget what is under way."""
        self.held: Levels | None = None

    def lazy(self) -> bool:
        """Return whether to let a cycle pass."""
        return self.dice.randrange(100) < self.patience

    def word(self) -> int:
        """Return noise, or a word to answer with."""
        return self.dice.getrandbits(32)

    def bit(self) -> int:
        """Return one bit of noise."""
        return self.dice.getrandbits(1)

    def hold(self, seen: Mapping[str, int]) -> None:
        """Assert that the steady lines are those of the cycle before."""
        now = {name: seen[name] for name in self.steady if name in seen}
        assert self.held in (None, now), (self.held, now)
        self.held = now

    def done(self, cycle: int, write: int, address: int, data: int, lanes: int, error: int) -> None:
        """Note a transfer."""
        self.held = None
        self.transfers.append(Transfer(bool(write), address, data, lanes, bool(error), cycle))

    def answer(self, seen: Mapping[str, int], cycle: int) -> Levels:
        """Return the device's lines in a cycle, from those that the bus drives."""
        raise NotImplementedError


class Apb(PortDevice):
    """IHI 0024C: section 4.1 (setup, then access until PREADY), 2.2 (PSTRB low in a read)."""

    steady = ("paddr", "pwrite", "pwdata", "pstrb")

    def reset(self) -> None:
        super().reset()
        self.set_up = False

    def answer(self, seen: Mapping[str, int], cycle: int) -> Levels:
        assert seen["psel"] or not seen["penable"]
        assert seen["penable"] == self.set_up, "access follows setup, and nothing else does"
        ready = 1 if "pready" in self.lacks else int(not self.lazy())
        lines = {"prdata": self.word(), "pready": ready, "pslverr": self.bit()}
        if not seen["psel"]:
            return lines
        self.hold(seen)
        if self.set_up and ready:
            write = seen["pwrite"]
            lanes = seen.get("pstrb", 15) if write else 15
            assert write or not seen.get("pstrb", 0)
            error = 0 if "pslverr" in self.lacks else lines["pslverr"]
            data = seen["pwdata"] if write else lines["prdata"]
            self.done(cycle, write, seen["paddr"], data, lanes, error)
            self.set_up = False
        else:
            self.set_up = True
        return lines


class Axi4Lite(PortDevice):
    """IHI 0022E: A3.2.1 (VALID and what it covers stay until READY), A3.3.1 (dependencies)."""

    def reset(self) -> None:
        super().reset()
        self.waiting: dict[str, Levels] = {}
        self.taken: dict[str, int] = {}
        self.showing: dict[str, Levels] = {}
        self.eager = {channel: self.bit() for channel in ("aw", "w", "ar")}

    def answer(self, seen: Mapping[str, int], cycle: int) -> Levels:
        lines: Levels = {}
        covered = {"aw": ("awaddr",), "w": ("wdata", "wstrb"), "ar": ("araddr",)}
        # A response shows at the earliest in the cycle after its request is complete.
        self._respond(lines, cycle, seen)
        for channel, names in covered.items():
            valid = seen[f"{channel}valid"]
            now = {name: seen[name] for name in names}
            if channel in self.waiting:
                assert valid, f"{channel}valid falls before ready"
                assert now == self.waiting[channel]
            ready = not self.lazy() if valid or self.eager[channel] else 0
            lines[f"{channel}ready"] = int(ready)
            if valid and ready:
                assert not any(name in self.taken for name in names), "one transaction at a time"
                self.taken |= now
                self.waiting.pop(channel, None)
                self.eager[channel] = self.bit()
            elif valid:
                self.waiting[channel] = now
        return lines

    def _respond(self, lines: Levels, cycle: int, seen: Mapping[str, int]) -> None:
        complete = {"b": {"awaddr", "wdata"}, "r": {"araddr"}}
        for channel, asked in complete.items():
            if channel not in self.showing and asked <= self.taken.keys() and not self.lazy():
                self.showing[channel] = {"resp": self.dice.randrange(4), "data": self.word()}
            shown = self.showing.get(channel)
            lines[f"{channel}valid"] = int(shown is not None)
            lines[f"{channel}resp"] = shown["resp"] if shown else self.dice.randrange(4)
            if channel == "r":
                lines["rdata"] = shown["data"] if shown else self.word()
            if not shown or not seen[f"{channel}ready"]:
                continue
            del self.showing[channel]
            error, taken = shown["resp"] >> 1, self.taken
            if channel == "b":
                self.done(cycle, 1, taken["awaddr"], taken["wdata"], taken["wstrb"], error)
            else:
                self.done(cycle, 0, taken["araddr"], shown["data"], 15, error)
            self.taken = {}


class Strobes(PortDevice):
    """Common practice: the strobes stay until READY; late data comes a cycle after that."""

    steady = ("write", "read", "address", "lanes", "write_data")
    late = False

    def reset(self) -> None:
        super().reset()
        self.owed: int | None = None

    def answer(self, seen: Mapping[str, int], cycle: int) -> Levels:
        ready = 1 if "ready" in self.lacks else int(not self.lazy())
        lines = {"read_data": self.word(), "ready": ready, "error": self.bit()}
        error = 0 if "error" in self.lacks else lines["error"]
        # Without a read strobe a read is what is no write, and without select what is neither.
        write = seen["write"]
        read = seen["read"] if "read" in seen else seen.get("select", 0) and not write
        assert not (write and read)
        assert "select" not in seen or seen["select"] == (write or read)
        if self.owed is not None:
            assert not write, "a late read is over before the next access"
            assert not read, "one read gives one strobe"
            self.done(cycle, 0, self.owed, lines["read_data"], 15, error)
            self.owed = None
        elif write or read:
            self.hold(seen)
            if ready and write:
                self.done(
                    cycle, 1, seen["address"], seen["write_data"], seen.get("lanes", 15), error
                )
            elif ready and self.late:
                self.owed, self.held = seen["address"], None
            elif ready:
                self.done(cycle, 0, seen["address"], lines["read_data"], 15, error)
        return lines


class LateStrobes(Strobes):
    """With late data."""

    late = True


class Wishbone(PortDevice):
    """Wishbone B4, section 3.2: a request stays until it is answered."""

    steady = ("adr", "we", "sel", "write_data")

    def answer(self, seen: Mapping[str, int], cycle: int) -> Levels:
        asked = seen["cyc"] and seen["stb"]
        ends = asked and not self.lazy()
        error = int(ends and "err" not in self.lacks and self.bit())
        lines = {"read_data": self.word(), "ack": int(ends and not error), "err": error}
        if not asked:
            self.held = None
        else:
            self.hold(seen)
        if ends:
            data = seen["write_data"] if seen["we"] else lines["read_data"]
            self.done(cycle, seen["we"], seen["adr"], data, seen.get("sel", 15), error)
        return lines


class Pipelined(PortDevice):
    """Wishbone B4, section 3.1.3.2: STALL holds a request; each request is answered once."""

    steady = ("adr", "we", "sel", "write_data")

    def reset(self) -> None:
        super().reset()
        self.owed: Levels | None = None

    def answer(self, seen: Mapping[str, int], cycle: int) -> Levels:
        if not seen["cyc"]:
            self.reset()  # the cycle is over
        lines = {"read_data": self.word(), "stall": int(self.lazy()), "ack": 0, "err": 0}
        if seen["cyc"] and seen["stb"]:
            assert self.owed is None, "one request at a time"
            self.hold(seen)
            if not lines["stall"]:
                self.owed = dict(seen)
        if self.owed is not None and not self.lazy():
            owed, self.owed = self.owed, None
            error = int("err" not in self.lacks and self.bit())
            lines["err" if error else "ack"] = 1
            data = owed["write_data"] if owed["we"] else lines["read_data"]
            self.done(cycle, owed["we"], owed["adr"], data, owed.get("sel", 15), error)
        return lines
