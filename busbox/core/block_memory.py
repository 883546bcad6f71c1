"""How a block accesses the core's own memories: text for an address that is a number or a name."""

from __future__ import annotations

from busbox.core.setup import CoreSetup

_M = 0xFFFFFFFF
_ARRAYS = {1: "m8", 2: "m16", 4: "m32"}
#: What a load puts into its register, by its funct3.
_LOADED = {
    0: f"({{}} ^ 0x80) - 0x80 & {_M}", 1: f"({{}} ^ 0x8000) - 0x8000 & {_M}", 2: "{}", 4: "{}", 5: "{}",
}  # fmt: skip


class Memories:
    """The memories of a core.

    Attributes
    ----------
    clocks : of all of them, or None if they differ
    most : clocks of the slowest one
    """

    def __init__(self, setup: CoreSetup) -> None:
        self._all = setup.memories
        self._starts = [sum(one.size for one in self._all[:n]) for n in range(len(self._all))]
        clocks = {one.clocks for one in self._all}
        self.clocks = clocks.pop() if len(clocks) == 1 else None
        self.most = max((one.clocks for one in self._all), default=0)

    def holding(self, at: int) -> int | None:
        """Return the number of the memory that holds a byte."""
        for number, one in enumerate(self._all):
            if one.base <= at < one.end:
                return number
        return None

    def clocks_of(self, number: int) -> int:
        """Return the clocks of a memory."""
        return self._all[number].clocks

    def writable(self, number: int) -> bool:
        """Return whether a store to a memory is no fault."""
        return self._all[number].writable

    def order(self, guess: int, store: bool) -> list[int]:
        """Return the memories that a load or store may access, the likeliest first."""
        found = [n for n, one in enumerate(self._all) if one.writable or not store]
        likely = self.holding(guess)
        return sorted(found, key=lambda number: (number != likely, not self.writable(number)))

    def test(self, number: int, at: str, width: int) -> str:
        """Return a test whether an address is aligned and in a memory."""
        one = self._all[number]
        if one.size & one.size - 1 == 0 and one.base % one.size == 0:
            return f"{at} & {_M ^ one.size - 1 | width - 1} == {one.base}"
        inside = f"{one.base} <= {at} < {one.end}"
        return inside if width == 1 else f"{inside} and not {at} & {width - 1}"

    def place(self, number: int, at: str, width: int) -> str:
        """Return the index of an address that is in a memory, in the array of that width."""
        offset = self._all[number].base - self._starts[number]
        place = f"{at} - {offset}" if offset > 0 else f"{at} + {-offset}" if offset else at
        return place if width == 1 else f"{place} >> {width // 2}"

    def load(self, number: int, at: str, more: int) -> str:
        """Return what a load puts into its register."""
        width = 1 << (more & 3)
        return _LOADED[more].format(f"{_ARRAYS[width]}[{self.place(number, at, width)}]")

    def store(self, number: int, at: str, width: int, value: str, noted: bool) -> list[str]:
        """Return statements that store; ``noted``: the journal gets what was there."""
        lines = []
        if noted:
            lines = [
                f"place = {self.place(number, at, 4)}",
                "journal[noted * 2] = place",
                "journal[noted * 2 + 1] = m32[place]",
                "noted += 1",
            ]
        kept = value if width == 4 else f"{value} & {(1 << 8 * width) - 1}"
        return [*lines, f"{_ARRAYS[width]}[{self.place(number, at, width)}] = {kept}"]
