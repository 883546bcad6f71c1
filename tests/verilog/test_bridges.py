"""Every bridge between the fabric and a device that follows its standard to the letter.

No Verilog here: the device is Python (tests/verilog/port_devices.py), the bridge runs in Amaranth's
simulator. Accesses are answered, given up and reset at random.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pytest
from amaranth.hdl import ClockDomain, Module, Signal
from amaranth.sim import Simulator

from busbox.bus.ports import KINDS
from busbox.bus.ports.hardware import PortedHardware
from busbox.device import Site
from tests.verilog.port_devices import (
    Apb,
    Axi4Lite,
    LateStrobes,
    Pipelined,
    PortDevice,
    Strobes,
    Transfer,
    Wishbone,
)

SIZE, CYCLES = 256, 600


@dataclass(frozen=True)
class Port:
    """A port to test; ``more``: cycles that an access takes at a device which never waits."""

    kind: str
    device: type[PortDevice]
    lacks: str = ""
    more: int = 0
    late_read: int = 0

    @property
    def lacking(self) -> frozenset[str]:
        """Roles that it does not have."""
        return frozenset(self.lacks.split())


PORTS = {
    "wishbone": Port("wishbone", Wishbone, "stall cti bte lock"),
    "wishbone without err and sel": Port("wishbone", Wishbone, "stall err sel cti bte lock"),
    "pipelined": Port("wishbone", Pipelined, "cti bte lock"),
    "pipelined without err": Port("wishbone", Pipelined, "err cti bte lock"),
    "pipelined without sel": Port("wishbone", Pipelined, "sel cti bte lock"),
    "apb": Port("apb", Apb, "pprot", 1),
    "apb without pready": Port("apb", Apb, "pprot pready", 1),
    "apb without pslverr": Port("apb", Apb, "pprot pslverr", 1),
    "apb without pstrb": Port("apb", Apb, "pprot pstrb", 1),
    "axi4-lite": Port("axi4-lite", Axi4Lite, "awprot arprot", 1),
    "strobes": Port("strobes", Strobes),
    "strobes without ready": Port("strobes", Strobes, "ready error"),
    "strobes without lanes": Port("strobes", Strobes, "lanes select"),
    "strobes without read": Port("strobes", Strobes, "read"),
    "late": Port("strobes", LateStrobes, "", 0, 1),
    "late without ready": Port("strobes", LateStrobes, "ready error select", 0, 1),
}


class Outside(PortedHardware):
    """A bridge whose far side is outside: ``lines``, by role."""

    listed = False

    def __init__(self, port: Port) -> None:
        self.port_kind, self.port_lacks = port.kind, port.lacking  # type: ignore[misc]
        self.late = bool(port.late_read)  # type: ignore[misc]
        super().__init__(Site("bell", 0, SIZE, 1_000_000))
        bits = 6 if self.counts_words else 8
        self.lines = {
            role.name: Signal(role.size(bits), name=f"far_{role.name}")
            for role in KINDS[port.kind].roles
            if role.name not in port.lacking
        }

    def build_port(self, m: Module, port: Mapping[str, Any]) -> None:
        """Connect the lines."""
        for role in self.kind.roles:
            if role.name in port:
                near, far = port[role.name], self.lines[role.name]
                m.d.comb += far.eq(near) if role.driven else near.eq(far)


@dataclass
class Access:
    """An access; ``given`` is on its write data, ``end`` None if it was given up or reset."""

    start: int
    write: bool
    word: int
    given: int
    lanes: int
    data: int = 0
    end: int | None = None
    error: bool = False


class Play:
    """The fabric's side, and the clock."""

    def __init__(self, port: Port, seed: int, patience: int, hasty: int, resets: bool) -> None:
        self.port, self.dice = port, random.Random(seed)
        self.device = port.device(random.Random(seed + 1), port.lacking, patience)
        self.bridge = Outside(port)
        self.hasty, self.resets = hasty, resets
        self.accesses: list[Access] = []
        self.cut: list[int] = []
        m = Module()
        m.domains.sync = self.domain = ClockDomain()
        m.submodules.bridge = self.bridge
        simulator = Simulator(m)
        simulator.add_clock(1e-6)
        simulator.add_testbench(self._play)
        simulator.run()

    async def _play(self, context: Any) -> None:
        dice, bus = self.dice, self.bridge.bus
        least, rest, resetting, current = self.bridge.pace(self.bridge.kind)[0], 1, 0, None
        for cycle in range(CYCLES):
            if self.resets and not resetting and dice.random() < 0.02:
                resetting, current = dice.randrange(1, 4), None
                self.cut.append(cycle)
            context.set(self.domain.rst, int(resetting > 0))
            if resetting:
                self.device.reset()
                rest, resetting = 0, resetting - 1
            elif current is None and rest >= least and dice.random() < 0.6:
                lanes = 15 if dice.random() < 0.6 else dice.randrange(16)
                word = dice.randrange(SIZE // 4)
                current = Access(cycle, dice.random() < 0.5, word, dice.getrandbits(32), lanes)
                self.accesses.append(current)
            elif current is not None and dice.randrange(100) < self.hasty:
                current = None  # given up
            rest = 0 if current else rest + 1
            self._raise(context, current)
            await context.delay(1e-9)
            if context.get(self.domain.rst):
                self._in_reset(context)
            else:
                self._answer(context, cycle)
            ack, err = context.get(bus.ack), context.get(bus.err)
            assert not (ack and err)
            assert current is not None or not (ack or err)
            if current is not None and (ack or err):
                current.end, current.error = cycle, bool(err)
                current.data = current.given if current.write else context.get(bus.read_data)
                current = None
            await context.tick()

    def _raise(self, context: Any, access: Access | None) -> None:
        """Show an access, or noise: only STB and CYC make one."""
        dice, bus = self.dice, self.bridge.bus
        context.set(bus.cyc, int(access is not None))
        context.set(bus.stb, int(access is not None))
        context.set(bus.we, int(access.write if access else dice.getrandbits(1)))
        context.set(bus.adr, access.word if access else dice.randrange(SIZE // 4))
        context.set(bus.sel, access.lanes if access else dice.randrange(16))
        context.set(bus.write_data, access.given if access else dice.getrandbits(32))

    def _in_reset(self, context: Any) -> None:
        """Nothing is asked for while the reset is active (IHI 0022E, A3.1.2)."""
        lines = self.bridge.lines
        asking = (
            "stb",
            "psel",
            "penable",
            "awvalid",
            "wvalid",
            "arvalid",
            "select",
            "write",
            "read",
        )
        for role in asking:
            if role in lines:
                assert not context.get(lines[role]), role
        for role in ("ack", "err", "bvalid", "rvalid"):
            if role in lines:
                context.set(lines[role], 0)

    def _answer(self, context: Any, cycle: int) -> None:
        roles = {role.name: role for role in self.bridge.kind.roles}
        lines = self.bridge.lines

        def seen() -> dict[str, int]:
            return {name: context.get(line) for name, line in lines.items() if roles[name].driven}

        before = seen()
        answer = self.device.answer(before, cycle)
        for name, level in answer.items():
            if name in lines:
                context.set(lines[name], level)
        assert seen() == before, "what the bus drives follows from nothing that the device drives"


def check(play: Play) -> None:
    """Assert that each access is one transfer, and each transfer one access."""
    port, transfers = play.port, play.device.transfers
    by_end = {one.end: one for one in transfers}
    assert len(by_end) == len(transfers)
    byte = 1 if play.bridge.counts_words else 4
    refused = 0
    for access in play.accesses:
        if access.end is None:
            continue
        partial = access.write and access.lanes != 15
        if partial and {"sel", "pstrb", "lanes"} & port.lacking:
            assert access.error
            assert access.end == access.start or port.kind != "wishbone"
            refused += 1
            continue
        assert access.end in by_end, access
        transfer = by_end.pop(access.end)
        lanes = access.lanes if access.write or port.kind == "wishbone" else 15
        lanes = 15 if {"sel", "pstrb", "lanes"} & port.lacking else lanes
        found = Transfer(
            access.write, access.word * byte, access.data, lanes, access.error, access.end
        )
        assert transfer == found
    # What is left was given up: it went to the device unchanged, once, and after it was raised.
    given_up = [one for one in play.accesses if one.end is None]
    assert len(by_end) <= len(given_up)
    for transfer in by_end.values():
        meant = [
            one for one in given_up
            if one.start <= transfer.end and one.write == transfer.write
            and one.word * byte == transfer.address
            and (not one.write or (one.given, one.lanes) == (transfer.data, transfer.lanes))
        ]  # fmt: skip
        assert meant, transfer
        given_up.remove(meant[-1])
    assert (refused > 0) == bool({"sel", "pstrb", "lanes"} & port.lacking)


@pytest.mark.parametrize("name", PORTS)
def test_each_access_is_one_transfer(name: str) -> None:
    """Each has its own word and error; at a device that never waits, it takes what the page says."""
    port = PORTS[name]
    play = Play(port, 3, 0, 0, False)
    check(play)
    ended = [one for one in play.accesses if one.end is not None]
    assert len(ended) > len(play.accesses) - 2
    taken = {(one.write, one.end - one.start) for one in ended if one.end and one.lanes == 15}
    assert taken == {(True, port.more), (False, port.more + port.late_read)}


@pytest.mark.parametrize("name", PORTS)
def test_what_is_given_up_or_reset_leaves_no_trace_in_the_next(name: str) -> None:
    """A transfer given up is carried on, its answer is dropped; a reset ends it at once."""
    play = Play(PORTS[name], 5, 60, 12, True)
    check(play)
    ended = sum(one.end is not None for one in play.accesses)
    assert len(play.cut) > 3
    assert ended > 40
    instant = PORTS[name].lacking >= {"ready", "error"}
    assert instant or len(play.accesses) - ended > 15
