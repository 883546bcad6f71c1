"""What a core is, whatever it executes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from busbox.core.image import Memory
from busbox.core.instructions import INSTRUCTIONS


@dataclass(frozen=True)
class CoreSetup:
    """What a core is.

    Attributes
    ----------
    isa : ``rv32i``, ``rv32im``, ``rv32ic`` or ``rv32imc``
    memories : its own, at most :data:`busbox.core.machine.MEMORIES`; they do not overlap
    start : address of the first instruction
    clocks : class of instructions to cycles; every class is there
    access_at : cycles from the first one of a load or store to the one that raises its access
    split : a misaligned load or store becomes several accesses; otherwise it traps
    faults : an access that ends with ERR is an access fault; otherwise a load of 0, or nothing
    ebreak : ``finding``, ``end`` or ``trap``
    lines : pin to the bit of its interrupt line: 3 software, 7 timer, 11 external, 16 to 31 platform
    on_end : ``settle``: the run waits for busy devices when the program has ended; ``stop``: it ends
    program : its file, as messages call it
    hart : the number in mhartid
    """

    isa: str
    memories: tuple[Memory, ...]
    start: int
    clocks: Mapping[str, int]
    access_at: int = 0
    split: bool = False
    faults: bool = True
    ebreak: str = "finding"
    lines: Mapping[str, int] = field(default_factory=dict)
    on_end: str = "settle"
    program: str = ""
    hart: int = 0

    def nearest(self, address: int) -> tuple[Memory, int]:
        """Return the memory that is the fewest bytes away from an address, and these bytes."""

        def away(memory: Memory) -> int:
            return max(memory.base - address, address - (memory.end - 1), 0)

        near = min(self.memories, key=away)
        return near, away(near)

    def cost(self, op: int) -> int:
        """Return the cycles of an instruction by its number, a branch not taken."""
        kind = INSTRUCTIONS[op].kind if op < len(INSTRUCTIONS) else "base"
        return self.clocks[kind]
