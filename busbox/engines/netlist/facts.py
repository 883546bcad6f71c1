"""What the netlist text leaves out, taken from the design itself.

Two things of a clocked read port of a memory are not in the text (Amaranth 0.5 writes x): the value
that its data shows at the start, and that a reset of the domain clears the data in a cycle in which the
port is not enabled. Amaranth's simulator does both, and is followed. Where two write ports that a read
port is transparent for hit its address, the simulator lets the one named last win; the text keeps no
order, so only ports named in the order in which they were made are run.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from amaranth.hdl import ClockDomain, Fragment, MemoryInstance, Shape, Signal
from amaranth.hdl._ast import Operator

from busbox.basics.limits import HARDWARE_MEMORY
from busbox.engines.netlist.errors import NetlistError


@dataclass(frozen=True, slots=True)
class ReadPort:
    """A read port: initial value of its data, and the reset that clears it, if one does."""

    init: int
    reset: Signal | None


@dataclass(frozen=True, slots=True)
class MemoryFacts:
    """The read ports of one memory, in order, with its size to make sure that it is the same one."""

    width: int
    depth: int
    reads: tuple[ReadPort, ...]


def memory_facts(fragment: Fragment) -> list[MemoryFacts]:
    """Return the facts of all memories, module by module, in the order of the netlist text.

    Raises
    ------
    InputError : one is above the limit
    """
    domains = dict(_domains(fragment))
    memories = list(_memories(fragment, "top"))
    for memory, name in memories:
        bits = Shape.cast(memory._data.shape).width * memory._data.depth
        HARDWARE_MEMORY.check(bits // 8, "a memory in hardware", name)
    return [_facts(memory, name, domains) for memory, name in memories]


def check_domains(fragment: Fragment, clock: Signal | None) -> None:
    """Refuse a second clock domain, even one whose clock is the same net.

    In Amaranth's simulator a clock that is driven from another one comes later, and its registers see
    what the others have become; in hardware they do not.

    Raises
    ------
    NetlistError : there is one
    """
    for name, domain in _domains(fragment):
        if clock is not None and domain.clk is not clock:
            raise NetlistError(f"there must be one clock domain, not {name} too", f"top.{name}")


def _domains(fragment: Fragment) -> Iterator[tuple[str, ClockDomain]]:
    yield from fragment.domains.items()
    for inner, *_ in fragment.subfragments:
        yield from _domains(inner)


def _memories(fragment: Fragment, where: str) -> Iterator[tuple[MemoryInstance, str]]:
    inner = [(one, f"{where}.{name}") for one, name, *_ in fragment.subfragments]
    for one, name in inner:
        if isinstance(one, MemoryInstance):
            yield one, name
    for one, name in inner:
        if not isinstance(one, MemoryInstance):
            yield from _memories(one, name)


def _facts(memory: MemoryInstance, name: str, domains: dict[str, ClockDomain]) -> MemoryFacts:
    reads = tuple(_port(port, name, domains) for port in memory._read_ports)
    return MemoryFacts(Shape.cast(memory._data.shape).width, memory._data.depth, reads)


def _port(port: MemoryInstance._ReadPort, name: str, domains: dict[str, ClockDomain]) -> ReadPort:
    if port._domain == "comb":
        return ReadPort(0, None)
    order = list(port._transparent_for)
    if order != sorted(order):
        raise NetlistError(
            f"transparent_for must name write ports in the order they were made, not {order}", name
        )
    data = port._data
    while isinstance(data, Operator) and data.operator in ("u", "s"):
        (data,) = data.operands
    if not isinstance(data, Signal):
        raise NetlistError(
            f"the data of a clocked read port must be one signal, not {type(data).__name__}", name
        )
    domain = domains.get(port._domain)
    reset = None if domain is None or data.reset_less else domain.rst
    return ReadPort(data.init & (1 << len(data)) - 1, reset)
