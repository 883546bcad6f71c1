"""A naive core with a few instructions, for tests of one thing each."""

from tests.core.naive import NaiveCore
from tests.core.programs import DrawnBus

BASE, HANDLER, TOP = 0x8000_0000, 0x8000_0100, 0x8000_0200
MINUS_1, LOWEST = 0xFFFF_FFFF, 0x8000_0000


def core_of(*instructions: int, isa: str = "rv32imc", **settings: object) -> NaiveCore:
    """A core at the first of these 32-bit instructions, in a memory of 512 bytes, mtvec at HANDLER."""
    memory = bytearray(
        b"".join(word.to_bytes(4, "little") for word in instructions).ljust(512, b"\0")
    )
    options = {"clocks": {"base": 1}, **settings}
    core = NaiveCore(isa, [(BASE, memory, 0, True)], BASE, **options)  # type: ignore[arg-type]
    core.stored["mtvec"] = HANDLER
    return core


def run(core: NaiveCore, steps: int = 1, lines: int = 0) -> NaiveCore:
    """So many steps, with a bus whose accesses take a cycle or more."""
    bus = DrawnBus(1)
    for _ in range(steps):
        core.step(lines, bus)
    return core


def result(word: int, a: int, b: int = 0) -> int:
    """What an instruction with x5 = a and x6 = b leaves in x7."""
    core = core_of(word)
    core.x[5], core.x[6] = a, b
    return run(core).x[7]


def trapped(core: NaiveCore) -> tuple[int, int, int]:
    """The mcause, mtval and mepc of the trap that the next instruction must be."""
    before, instructions = list(core.x), core.instructions
    run(core)
    assert core.pc == HANDLER
    assert (core.x, core.instructions) == (before, instructions)
    return core.csr_value("mcause"), core.csr_value("mtval"), core.csr_value("mepc")


def is_illegal(word: int, isa: str = "rv32imc") -> bool:
    """It traps with cause 2."""
    core = core_of(word, isa=isa)
    core.x[5:8] = [BASE + 256] * 3
    run(core)
    return core.pc == HANDLER and core.csr_value("mcause") == 2
