"""The programs of tests/core/programs, and the interrupt lines that they drive themselves."""

from dataclasses import dataclass, field
from pathlib import Path

from elftools.elf.elffile import ELFFile

FOLDER = Path(__file__).parent / "programs"
OWN_BASE, OWN_SIZE = 0x8000_0000, 0x8000
BOARD_BASE, BOARD_SIZE = 0x4000_0000, 0x100
RAISE, LOWER, DELAY, LINES = 0, 4, 8, 12


@dataclass
class Built:
    """A program as it was built: its memory, where it starts, its symbols."""

    isa: str
    memory: bytearray
    start: int
    symbols: dict[str, int]

    def results(self, count: int) -> list[int]:
        """The first words that the program has left at `results`."""
        place = self.symbols["results"] - OWN_BASE
        words = [self.memory[place + 4 * index : place + 4 * index + 4] for index in range(count)]
        return [int.from_bytes(word, "little") for word in words]


def built(name: str, isa: str) -> Built:
    """Load NAME.ISA.elf."""
    with (FOLDER / f"{name}.{isa}.elf").open("rb") as file:
        elf = ELFFile(file)
        memory = bytearray(OWN_SIZE)
        for segment in elf.iter_segments("PT_LOAD"):
            place = segment["p_paddr"] - OWN_BASE
            memory[place : place + segment["p_filesz"]] = segment.data()
        table = elf.get_section_by_name(".symtab")
        symbols = {symbol.name: symbol["st_value"] for symbol in table.iter_symbols()}
        return Built(isa, memory, elf["e_entry"], symbols)


@dataclass
class Board:
    """The registers of programs/board.h on a bus; an access ends `wait` cycles after it was raised."""

    wait: int = 0
    delay: int = 1
    changes: list[tuple[int, int, bool]] = field(default_factory=list)

    def lines(self, cycle: int) -> int:
        """The lines that are high in a cycle."""
        mask = 0
        for first, lines, high in sorted(self.changes, key=lambda change: change[0]):
            if first <= cycle:
                mask = mask | lines if high else mask & ~lines
        return mask

    def __call__(
        self, cycle: int, write: bool, address: int, data: int, lanes: int
    ) -> tuple[int, int, bool]:
        end = cycle + self.wait
        offset = address - BOARD_BASE
        if not 0 <= offset < BOARD_SIZE:
            return end, 0, True
        if not write:
            return end, self.lines(end) if offset == LINES else 0, False
        if offset == RAISE:
            self.changes.append((end + self.delay, data, True))
        elif offset == LOWER:
            self.changes.append((end + 1, data, False))
        elif offset == DELAY:
            self.delay = data
        return end, 0, False
