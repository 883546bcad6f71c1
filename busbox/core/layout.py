"""The numbers that the text of the core works on, and what every form of it does with them."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Protocol

from busbox.core.decoding import Decoded, decode, unfetched
from busbox.core.machine import CODED, STATE
from busbox.core.setup import CoreSetup

#: Registers of an executor: x0 to x31, and one that nobody reads.
REGISTERS = 33
#: Place of each name in the state.
AT = {name: place for place, name in enumerate(STATE)}


class Executor(Protocol):
    """What executes: the text of the core in one of its forms, with the numbers it works on."""

    state: Any
    x: Any
    m8: Any
    m16: Any
    m32: Any
    code: Any
    journal: Any
    saved: Any
    saved_x: Any
    code_mask: int

    def run(self) -> None:
        """Execute until an access is due, or another reason in ``kind``."""

    def forget(self, address: int) -> None:
        """Take it that the word at an address has changed."""


def given(setup: CoreSetup, code_mask: int) -> dict[str, int]:
    """Return the numbers of the state that stay as they are."""
    letters = sum(1 << ord(letter) - ord("a") for letter in setup.isa[4:])
    numbers = {
        "align": 0 if "c" in setup.isa[5:] else 2,
        "epc_mask": 0xFFFFFFFE if "c" in setup.isa[5:] else 0xFFFFFFFC,
        "misa": 1 << 30 | letters,
        "hart": setup.hart,
        "split": int(setup.split),
        "faults": int(setup.faults),
        "break_traps": int(setup.ebreak == "trap"),
        "access_at": setup.access_at,
        "taken": setup.clocks["branch_taken"],
        "c_trap": setup.clocks["trap"],
        "code_mask": code_mask,
        "journal_on": int(bool(setup.lines)),
    }
    start = 0
    for number, memory in enumerate(setup.memories):
        numbers |= {
            f"base_{number}": memory.base,
            f"size_{number}": memory.size,
            f"from_{number}": start,
            f"clocks_{number}": memory.clocks,
            f"rom_{number}": int(not memory.writable),
        }
        start += memory.size
    return numbers


def half(setup: CoreSetup, m16: Any, address: int) -> int | None:
    """Return the half-word at an address, or None if it is in no memory."""
    start = 0
    for memory in setup.memories:
        if memory.base <= address < memory.end:
            return int(m16[address - memory.base + start >> 1])
        start += memory.size
    return None


_decode = lru_cache(maxsize=1 << 14)(decode)


def decoded(setup: CoreSetup, m16: Any, pc: int) -> Decoded:
    """Return the instruction at an address, as the memories are now."""
    low = half(setup, m16, pc)
    if low is None:
        return unfetched(pc)
    if low & 3 != 3 and "c" in setup.isa[5:]:
        return _decode(low, setup.isa)
    high = half(setup, m16, pc + 2 & 0xFFFFFFFF)
    if high is None:
        return unfetched(pc + 2 & 0xFFFFFFFF)
    return _decode(high << 16 | low, setup.isa)


def fill(setup: CoreSetup, executor: Executor) -> None:
    """Decode the instruction that is to be executed next."""
    pc = int(executor.state[AT["pc"]])
    found = decoded(setup, executor.m16, pc)
    place = (pc >> 1 & executor.code_mask) * CODED
    fields = found.op | found.rd << 8 | found.rs1 << 14 | found.rs2 << 19
    executor.code[place + 1] = fields | found.size << 24 | found.more << 27
    executor.code[place + 2] = found.imm
    executor.code[place + 3] = setup.cost(found.op)
    executor.code[place] = pc + 1


def forget(code: Any, mask: int, address: int) -> None:
    """Forget the decoded instructions of which a part is in a word."""
    for pc in (address - 2, address, address + 2):
        place = (pc >> 1 & mask) * CODED
        if code[place] == pc + 1:
            code[place] = 0
