"""Where everything lives in the block of bytes that native code works on."""

from __future__ import annotations

from dataclasses import dataclass

from busbox.engines.netlist.outline import Outline

#: Bits of the largest machine word; wider numbers take several.
WORD = 64


@dataclass(frozen=True, slots=True)
class Place:
    """A number, or ``count`` numbers one after the other, of ``width`` bits each.

    Attributes
    ----------
    offset : of the first one, in bytes
    size : bytes of each; the low bits hold the number, little-endian, the others are 0
    """

    name: str
    offset: int
    width: int
    size: int
    count: int = 1

    @property
    def end(self) -> int:
        """The first byte behind it."""
        return self.offset + self.size * self.count

    def read(self, block: bytearray | memoryview, index: int = 0) -> int:
        """Return a number out of the block."""
        at = self.offset + self.size * index
        return int.from_bytes(block[at : at + self.size], "little")

    def write(self, block: bytearray | memoryview, value: int, index: int = 0) -> None:
        """Put a number into the block."""
        at = self.offset + self.size * index
        block[at : at + self.size] = value.to_bytes(self.size, "little")


@dataclass(frozen=True, slots=True)
class Layout:
    """The block: ports and memories by name, registers in the program's order; ``size`` in bytes."""

    inputs: dict[str, Place]
    outputs: dict[str, Place]
    registers: tuple[Place, ...]
    memories: dict[str, Place]
    size: int

    def image(self, outline: Outline) -> bytearray:
        """Return the block at the start: initial values everywhere, outputs 0 until a settle."""
        block = bytearray(self.size)
        for one in outline.inputs:
            self.inputs[one.name].write(block, one.init)
        for place, register in zip(self.registers, outline.registers, strict=True):
            place.write(block, register.init)
        for memory in outline.memories:
            for index, word in enumerate(memory.init):
                self.memories[memory.name].write(block, word, index)
        return block


def size_of(width: int) -> int:
    """Return the bytes that a number of ``width`` bits takes: 1, 2, 4, or a multiple of 8."""
    for size in (1, 2, 4):
        if width <= 8 * size:
            return size
    return 8 * -(-width // WORD)


def lay_out(outline: Outline, start: int = 0) -> Layout:
    """Return the layout of a program, from byte ``start`` of the block on (a multiple of 8)."""
    end = start

    def place(name: str, width: int, count: int = 1) -> Place:
        nonlocal end
        size = size_of(width)
        step = min(size, 8)
        found = Place(name, -(-end // step) * step, width, size, count)
        end = found.end
        return found

    registers = tuple(place(one.name, one.width) for one in outline.registers)
    inputs = {one.name: place(one.name, one.width) for one in outline.inputs}
    outputs = {one.name: place(one.name, one.width) for one in outline.outputs}
    memories = {one.name: place(one.name, one.width, one.depth) for one in outline.memories}
    return Layout(inputs, outputs, registers, memories, -(-end // 8) * 8)
