"""The rule ``stack-outside``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from busbox.basics.distinct import distinct
from busbox.core.decoding import decode
from busbox.core.instructions import INSTRUCTIONS
from busbox.core.setup import CoreSetup
from busbox.findings.rule import RunFacts, Sighting

#: The register that holds the address of the stack. Source: RISC-V ELF psABI, integer registers.
STACK_POINTER = 2


def stack_outside(facts: RunFacts) -> Iterator[Sighting]:
    """The stack of executed firmware has left the core's memory.

    Why it matters: what is pushed there is lost, or overwrites something; the next return goes
    anywhere. Loads and stores through the stack pointer are not meant for the bus.

    Example
    -------
    The stack has 256 bytes; a function calls itself until the stack has left its memory (set
    ``mistakes``, bench ``runaway``)::

        [traffic]
        file = "runaway.elf"

    Finding
    -------
    the stack has left the core's memory: a write of 0x28 to 0x1ffffffc, through the stack pointer. The
    nearest memory is 0x20000000 to 0x200000ff.

    try: Give the stack more room in the link script, or a [[core.memory]] where it is.

    What to do
    ----------
    Set the stack pointer before anything is called, and look for recursion and large local arrays. If
    only the bench lacks the memory, add it: ``[[core.memory]]``.
    """
    setup, accesses = facts.system.core, facts.recording.accesses
    if setup is None or not len(accesses):
        return
    used = [pc for pc in distinct(accesses.pc).tolist() if _by_stack_pointer(setup, pc)]
    if used:
        first = next(facts.where(lambda part: np.isin(part.pc, used)))
        yield facts.sighting(first, partial(_describe, facts, setup, first))


def _by_stack_pointer(setup: CoreSetup, pc: int) -> bool:
    for memory in setup.memories:
        if memory.base <= pc <= memory.end - 2:
            place = pc - memory.base
            word = int.from_bytes(memory.contents[place : place + 4], "little")
            found = decode(word, setup.isa)
            access = found.op < len(INSTRUCTIONS) and INSTRUCTIONS[found.op].form in "IS"
            return access and found.rs1 == STACK_POINTER
    return False


def _describe(facts: RunFacts, setup: CoreSetup, access: int) -> tuple[str, str]:
    address = int(facts.recording.accesses.address[access])
    near, _ = setup.nearest(address)
    return (
        f"the stack has left the core's memory: a {facts.describe(access)}, through the stack pointer. "
        f"The nearest memory is {near.base:#010x} to {near.end - 1:#010x}.",
        "Give the stack more room in the link script, or a [[core.memory]] where it is.",
    )
