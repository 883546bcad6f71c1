"""AXI4-Lite as a bus may drive it: five channels, each at its own pace.

Address before data and data before address, answers that are taken at once, late, or by chance, and
requests before the answers to earlier ones. A request never waits for a READY. Source: AMBA AXI and
ACE Protocol Specification, IHI 0022E, chapter A3.
"""

from __future__ import annotations

import random
from collections import deque

from busbox.check.own.drivers import Answer, Driver, Levels, Transfer

#: Cycles by which READY of an answer may come after its VALID.
_LATEST = 6


class _Source:
    """A channel on which requests go out: AW, W or AR."""

    def __init__(self) -> None:
        self._waiting: deque[tuple[int, Transfer]] = deque()
        self._pause = 0

    @property
    def idle(self) -> bool:
        return not self._waiting

    def offer(self, transfer: Transfer, pause: int) -> None:
        """Send a transfer, ``pause`` cycles after it may begin or the one before is through."""
        if not self._waiting:
            self._pause = pause
        self._waiting.append((pause, transfer))

    def shown(self, cycle: int) -> Transfer | None:
        """Return what is valid in this cycle; once it is, it stays."""
        if not self._waiting or self._waiting[0][1].start > cycle:
            return None
        if self._pause:
            self._pause -= 1
            return None
        return self._waiting[0][1]

    def sent(self) -> Transfer:
        """End the handshake of what is valid."""
        transfer = self._waiting.popleft()[1]
        self._pause = self._waiting[0][0] if self._waiting else 0
        return transfer


class _Sink:
    """A channel on which answers come in: B or R.

    Attributes
    ----------
    ready : level of READY in this cycle
    kept_low : READY was low ever since the last answer
    seen : cycles for which VALID has waited
    """

    def __init__(self, dice: random.Random) -> None:
        self._dice = dice
        self.due: deque[Transfer] = deque()
        self.ready = 0
        self.kept_low = True
        self.seen = 0
        self._choose()

    def _choose(self) -> None:
        self._after: int | None = None
        self._chance = False
        kind = self._dice.randrange(4)
        if kind == 0:
            self._chance = True
        elif kind < 3:
            self._after = self._dice.choice((1, 1, 2, _LATEST))

    def open_up(self) -> None:
        """Hold READY high from now on, until the next answer."""
        self._after, self._chance = None, False

    def drive(self) -> int:
        """Choose READY of this cycle."""
        if self._after is not None:
            self.ready = int(self.seen >= self._after)
        else:
            self.ready = self._dice.randrange(2) if self._chance else 1
        self.kept_low = self.kept_low and not self.ready
        return self.ready

    def take(self, valid: int) -> Transfer | None:
        """See VALID; return the transfer that was answered."""
        self.seen = self.seen + 1 if valid else 0
        if not valid or not self.ready:
            return None
        self.seen, self.kept_low = 0, True
        self._choose()
        return self.due.popleft() if self.due else None


class Axi4LiteDriver(Driver):
    """Drives an AXI4-Lite port.

    Attributes
    ----------
    probing : channel whose READY was raised because nothing else happened, or ""
    """

    def reset(self) -> None:
        super().reset()
        self._sources = {"aw": _Source(), "w": _Source(), "ar": _Source()}
        self._sinks = {"b": _Sink(self.dice), "r": _Sink(self.dice)}
        self._halves: dict[str, int] = {"aw": 0, "w": 0}
        self._writes: deque[Transfer] = deque()
        self._valid: dict[str, Transfer | None] = {}
        self._owes = {"b": 0, "r": 0}
        self.probing = ""

    @property
    def idle(self) -> bool:
        sent = all(source.idle for source in self._sources.values())
        due = self._writes or any(sink.due for sink in self._sinks.values())
        return not self.queue and sent and not due

    @property
    def waits_for(self) -> str:
        writes = self._owes["b"] >= self._owes["r"]
        return f"{'AW, W and B' if writes else 'AR and R'}: no step of the device"

    def probe(self) -> bool:
        for channel, sink in self._sinks.items():
            if sink.due and sink.kept_low and self._owes[channel] and not self.probing:
                sink.open_up()
                self.probing, self.owed = channel, 0
                self._owes[channel] = 0
                return True
        return False

    def drive(self, cycle: int) -> Levels:
        while self.queue:
            transfer = self.queue.popleft()
            for channel in ("aw", "w") if transfer.write else ("ar",):
                self._sources[channel].offer(transfer, self._pause())
            if transfer.write:
                self._writes.append(transfer)
        levels: Levels = {}
        for channel, source in self._sources.items():
            shown = self._valid[channel] = source.shown(cycle)
            levels[f"{channel}valid"] = int(shown is not None)
            if shown is not None:
                levels |= self._payload(channel, shown)
        for channel, sink in self._sinks.items():
            levels[f"{channel}ready"] = sink.drive()
        return self._has(levels)

    def _payload(self, channel: str, transfer: Transfer) -> Levels:
        if channel == "w":
            return {"wdata": transfer.data, "wstrb": transfer.lanes}
        return {f"{channel}addr": self._address(transfer), f"{channel}prot": 0}

    def take(self, seen: Levels) -> list[Answer]:
        answers = []
        moved = {"b": False, "r": False}
        for channel, sink in self._sinks.items():
            if seen[f"{channel}valid"]:
                moved[channel] = True
                self.probing = "" if self.probing == channel else self.probing
            transfer = sink.take(seen[f"{channel}valid"])
            if transfer is not None:
                data = seen["rdata"] if channel == "r" else 0
                answers.append(Answer(transfer, seen[f"{channel}resp"] >> 1, data))
        for channel in self._sources:
            if self._valid[channel] is not None and seen[f"{channel}ready"]:
                moved["r" if channel == "ar" else "b"] = True
                self._send(channel)
        self._count(moved)
        return answers

    def _send(self, channel: str) -> None:
        """End a handshake; once both halves of a write are through, its answer is due."""
        transfer = self._sources[channel].sent()
        if channel == "ar":
            self._sinks["r"].due.append(transfer)
            return
        self._halves[channel] += 1
        if all(self._halves.values()):
            self._halves = {name: count - 1 for name, count in self._halves.items()}
            self._sinks["b"].due.append(self._writes.popleft())

    def _count(self, moved: dict[str, bool]) -> None:
        """Count for how long the device has owed something; a side that we hold up owes nothing."""
        held_up = any(sink.seen for sink in self._sinks.values())
        for channel, names in (("b", ("aw", "w")), ("r", ("ar",))):
            asked = all(self._valid[name] is not None or self._halves.get(name) for name in names)
            owes = (asked or bool(self._sinks[channel].due)) and not moved[channel] and not held_up
            self._owes[channel] = self._owes[channel] + 1 if owes else 0
        self.owed = max(self._owes.values())

    def meaning(self, seen: Levels) -> Levels:
        shown = {f"{name}ready": seen[f"{name}ready"] for name, one in self._valid.items() if one}
        for channel in self._sinks:
            shown[f"{channel}valid"] = seen[f"{channel}valid"]
            if seen[f"{channel}valid"]:
                shown[f"{channel}resp"] = seen[f"{channel}resp"]
        if seen["rvalid"] and not seen["rresp"] >> 1:
            shown["rdata"] = seen["rdata"]
        return shown

    def unhurried(self, channel: str) -> bool:
        """Whether READY of B or R was low ever since the answer before."""
        return self._sinks[channel].kept_low
