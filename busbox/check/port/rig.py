"""Copies of one component in Amaranth's simulator, driven through their bus ports cycle by cycle."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from amaranth.hdl import Cat, ClockDomain, Fragment, Module
from amaranth.sim import Simulator

from busbox.basics.errors import BusboxError, InputError
from busbox.basics.hooks import PASSING, told
from busbox.bus.wishbone.rules import Sample
from busbox.check.port.subject import Subject, discard
from busbox.engines.netlist import NetlistError
from busbox.map.registers import WORD

#: Members of a port that its master drives.
_DRIVEN = ("cyc", "stb", "we", "adr", "sel", "write_data")


@dataclass(frozen=True)
class Drive:
    """What a master drives on the port in a cycle; see :class:`busbox.bus.wishbone.rules.Sample`."""

    cyc: int = 0
    stb: int = 0
    we: int = 0
    adr: int = 0
    sel: int = 0
    write_data: int = 0

    def raised(self, cyc: int, stb: int) -> Drive:
        """Return the same drive with these levels of CYC and STB."""
        return replace(self, cyc=cyc, stb=stb)


IDLE = Drive()


class Copies:
    """Copies of a component side by side. There is a present cycle, in which all drives take effect.

    Cycle 0 is the first with RST low; the cycle before it had RST high.

    Parameters
    ----------
    name : as messages call the component
    components : the copies
    refuse : raises NetlistError, if no engine can run the component unchanged
    ports : members that are no free inputs

    Attributes
    ----------
    cycle : the present cycle

    Raises
    ------
    InputError : it cannot be built or simulated
    NetlistError : no engine can run it unchanged
    """

    def __init__(
        self,
        name: str,
        components: list[Any],
        refuse: Callable[[], object],
        ports: tuple[str, ...] = ("bus", "watch_adr"),
    ) -> None:
        self.cycle = 0
        self._components = components
        self._domain = ClockDomain("sync")
        self._rst = 0
        try:
            self._inputs = [_free_inputs(component, ports) for component in components]
            self._context, self._half_tick = self._open(refuse)
        except NetlistError as error:
            refusal: BusboxError = error
        except PASSING:
            raise
        except BaseException as error:
            text = f"cannot be simulated: it raised {told(error)}"
            refusal = InputError.of(text, name)
        else:
            return
        self._components.clear()
        discard()
        raise refusal

    def _top(self) -> Module:
        top = Module()
        top.domains += self._domain
        for number, component in enumerate(self._components):
            top.submodules[f"copy_{number}"] = component
        return top

    def _open(self, refuse: Callable[[], object]) -> tuple[Any, Callable[[], object]]:
        """Return the context of the simulator's one test bench, in cycle 0, and half a tick."""
        opened: list[Any] = []
        # The simulator would invent a missing clock domain and never clock it.
        Fragment.get(self._top(), None).prepare(missing_domain=lambda name: None)
        # And it would run what no hardware does: a black box as nothing, a loop without end.
        refuse()

        async def bench(context: Any) -> None:
            opened.append(context)
            context.set(self._domain.rst, 1)

        simulator = Simulator(self._top())
        simulator.add_clock(1e-6)  # the length of a cycle means nothing here
        simulator.add_testbench(bench)
        simulator.advance()
        simulator.advance()
        opened[0].set(self._domain.rst, 0)
        return opened[0], simulator.advance

    def reset(self, level: int) -> None:
        """Drive RST from this cycle on."""
        self._rst = level
        self._context.set(self._domain.rst, level)

    def scatter(self, dice: random.Random) -> None:
        """Drive random levels on the input pins, the same in every copy."""
        for members in zip(*self._inputs, strict=True):
            level = dice.getrandbits(len(members[0]))
            for member in members:
                self._context.set(member, level)

    def tick(self) -> None:
        """Advance to the next cycle."""
        self._half_tick()
        self._half_tick()
        self.cycle += 1


class Rig(Copies):
    """Copies of a component, driven at the fabric's port.

    Parameters
    ----------
    subject : what is built
    copies : number of copies

    Attributes
    ----------
    words : number of word addresses that an access may have
    """

    def __init__(self, subject: Subject, copies: int = 1) -> None:
        components = [subject.build() for _ in range(copies)]
        buses = [component.bus for component in components]
        self.words = subject.words or 1 << len(buses[0].adr)
        self._driven = [IDLE] * copies
        self._members = [{name: getattr(bus, name) for name in _DRIVEN} for bus in buses]
        self._answers = [Cat(bus.ack, bus.err, bus.read_data) for bus in buses]
        super().__init__(subject.name, components, lambda: subject.program)

    def drive(self, drive: Drive, copy: int = 0) -> None:
        """Drive a copy's port from this cycle on."""
        before, self._driven[copy] = self._driven[copy], drive
        for name, member in self._members[copy].items():
            value = getattr(drive, name)
            if value != getattr(before, name):
                self._context.set(member, value)

    def seen(self, copy: int = 0) -> Sample:
        """Return the signals of a copy's port in this cycle."""
        answer, drive = self._context.get(self._answers[copy]), self._driven[copy]
        return Sample(
            self._rst, drive.cyc, drive.stb, drive.we, drive.adr, drive.sel, drive.write_data,
            answer >> 2 & WORD, answer & 1, answer >> 1 & 1,
        )  # fmt: skip

    def watch(self, word: int, copy: int = 0) -> int:
        """Return what the watch port of a copy shows in this cycle at a word address."""
        component = self._components[copy]
        self._context.set(component.watch_adr, word)
        return int(self._context.get(component.watch_data))


def _free_inputs(component: Any, ports: tuple[str, ...]) -> list[Any]:
    """Return the inputs of a component that belong to none of these members."""
    return [
        value
        for path, member, value in component.signature.flatten(component)
        if member.flow.name == "In" and path[0] not in ports and len(value)
    ]


class Traffic:
    """Random accesses and noise.

    Parameters
    ----------
    dice : the random numbers
    subject : its registers are accessed more often than holes
    words : number of word addresses
    """

    def __init__(self, dice: random.Random, subject: Subject, words: int) -> None:
        self.dice = dice
        self._words = words
        table = subject.table
        self._often = (
            [offset >> 2 for offset, _ in table.places()] if table is not None else range(16)
        )
        self._least_wait = subject.least_wait

    def access(self) -> Drive:
        """Return an access, with CYC and STB still low."""
        dice = self.dice
        often = self._often if self._often and dice.random() < 0.75 else range(self._words)
        return Drive(
            we=dice.randrange(2),
            adr=dice.choice(often) % self._words,
            sel=dice.choice([0b1111, 0b1111, 0b0001, dice.randrange(16)]),
            write_data=dice.choice([dice.getrandbits(32), WORD, dice.getrandbits(3)]),
        )

    def lead(self) -> int:
        """Return the number of cycles with the address on the port before STB."""
        return self._least_wait + self.dice.randrange(4)

    def noise(self) -> Drive:
        """Return random signals for a cycle without a request: anything but STB."""
        return self.access().raised(self.dice.randrange(2), 0)
