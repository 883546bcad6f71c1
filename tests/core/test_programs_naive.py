"""Programs from a compiler, and programs with traps and interrupts, on the naive core.

What they must find out is known from outside or computed by Python; the source stands beside each.
"""

import calendar
import functools
import hashlib
import zlib

import pytest

from tests.core import board
from tests.core.board import BOARD_BASE, Board, Built, built
from tests.core.naive import NaiveCore
from tests.core.programs import ISAS

INTERRUPT = 0x8000_0000
WORD = 0xFFFF_FFFF


def played(program: Built, limit: int = 100_000, wait: int = 0) -> Built:
    """Run it until it is done, with one clock for everything and a board on the bus."""
    own = (board.OWN_BASE, program.memory, 0, True)
    core = NaiveCore(program.isa, [own], program.start, {"base": 1})
    bus = Board(wait)
    for _ in range(limit):
        if core.pc == program.symbols["done"]:
            return program
        core.step(bus.lines(core.cycle), bus)
    raise AssertionError(f"not done after {limit} steps, at {core.pc:#x}")


@pytest.mark.parametrize("isa", ISAS)
def test_checksums(isa: str) -> None:
    """The check values of "123456789".

    Source: catalogue of parametrised CRC algorithms: CRC-32/ISO-HDLC 0xCBF43926, CRC-16/IBM-3740
    (CCITT, false) 0x29B1, CRC-8/SMBUS 0xF4. Adler-32: zlib of Python. FNV-1a of 32 bits: its definition
    (offset basis 2166136261, prime 16777619), computed with Python integers.
    """
    text = b"123456789"
    fnv = functools.reduce(lambda value, byte: (value ^ byte) * 16777619 & WORD, text, 2166136261)
    expected = [0xCBF4_3926, 0xCBF4_3926, 0x29B1, 0xF4, zlib.adler32(text), fnv]
    assert zlib.crc32(text) == expected[0]
    assert played(built("checksums", isa)).results(6) == expected


@pytest.mark.quick
@pytest.mark.parametrize("isa", ISAS)
def test_sha256(isa: str) -> None:
    """The digest of "abc". Source: FIPS 180-4's example, ba7816bf ... f20015ad; hashlib of Python."""
    digest = hashlib.sha256(b"abc").hexdigest()
    assert digest.startswith("ba7816bf")
    assert digest.endswith("f20015ad")
    results = played(built("sha256", isa)).results(8)
    assert "".join(f"{word:08x}" for word in results) == digest


@pytest.mark.parametrize("isa", ISAS)
def test_sorting(isa: str) -> None:
    """Insertion, partition and counting leave what sorted() leaves.

    Source: Python's sorted; the generator is the one in the C standard's example of rand().
    """
    seed, values = 1, []
    for _ in range(40):
        seed = (seed * 1103515245 + 12345) & WORD
        values.append((seed >> 8) - (1 << 23))
    raw = b"".join(value.to_bytes(4, "little", signed=True) for value in values)
    by_bytes = bytes(sorted(raw))
    words = [int.from_bytes(by_bytes[at : at + 4], "little") for at in range(0, 160, 4)]

    def ordered_sum(numbers: list[int]) -> int:
        return functools.reduce(lambda total, number: (total * 31 + number) & WORD, numbers, 0)

    expected = [ordered_sum(numbers) for numbers in (values, sorted(values), sorted(values), words)]
    assert played(built("sorting", isa)).results(4) == expected


@pytest.mark.parametrize("isa", ISAS)
def test_strings(isa: str) -> None:
    """Length, comparison, search, reversal, numbers. Source: the same in Python."""
    station = "Upper Junction signal cabin"
    expected = [
        len(station),
        ord("r") - ord("n"),
        0,
        station.find("signal"),
        station.find("tram"),
        int.from_bytes(station[::-1][:2].encode(), "little"),
        int("-2147483648"),
        1825,
        len(str(4294967295)),
        0,
    ]
    assert played(built("strings", isa)).results(10) == [value & WORD for value in expected]


@pytest.mark.parametrize("isa", ISAS)
def test_long_division(isa: str) -> None:
    """64-bit quotients, remainders, products and shifts round as C wants, towards zero.

    Source: Python's integers; C: (a/b)*b + a%b equals a.
    """
    large, divisor = 0x1234_5678_9ABC_DEF0, 0x10_0000_0007
    negative, small = -1000000000000007, -97
    longs = [large // divisor, large % divisor, -negative // -small, -(-negative % -small)]
    longs += [large * divisor, negative >> 37, large << 37]
    expected = [value >> shift & WORD for value in longs for shift in (0, 32)]
    expected += [-(1000003 // 97) & WORD, 1000003 % 97]
    assert played(built("division", isa)).results(16) == expected


@pytest.mark.parametrize("isa", ISAS)
def test_recursion(isa: str) -> None:
    """Source: Fibonacci(13) = 233 (OEIS A000045), Ackermann(2, n) = 2n + 3, 2^n - 1 moves of n discs,
    4 ways for six queens (OEIS A000170)."""
    assert played(built("recursion", isa)).results(4) == [233, 2 * 4 + 3, 2**7 - 1, 4]


@pytest.mark.parametrize("isa", ISAS)
def test_switches(isa: str) -> None:
    """Jump tables and calls through pointers. Source: Python's calendar, and its integers."""
    days = sum(366 if calendar.isleap(year) else 365 for year in range(1896, 1905))
    value = 7
    for index in range(8):
        value = [value * 2, value * value, value - 1, value * 2][index % 4]
    calculated = [((9 * 7) - 8) // 5, ~-3 ^ 6, ((9 << 5) >> (3 | 6)) % 7]
    expected = [days, *calculated, value]
    assert played(built("switches", isa)).results(5) == expected


@pytest.mark.parametrize("isa", ["rv32i", "rv32imc"])
def test_every_exception(isa: str) -> None:
    """Cause, value and address of each, in the order of the program; each is skipped.

    Source: privileged architecture, table of mcause values; sections on mtval and mepc.
    """
    program = built("traps", isa)
    at = program.symbols
    expected = [
        *(11, 0, at["at_ecall"]),
        *(3, at["at_ebreak"], at["at_ebreak"]),
        *(2, 0xFFFF_FFFF, at["at_illegal"]),
        *(2, 0xF140_1073, at["at_csr"]),
        *(4, BOARD_BASE + 1, at["at_load"]),
        *(6, BOARD_BASE + 3, at["at_store"]),
        *(5, BOARD_BASE + 0x102, at["at_bus_load"]),
        *(7, BOARD_BASE + 0x100, at["at_bus_store"]),
        *(1, BOARD_BASE, BOARD_BASE),
    ]
    if isa == "rv32imc":
        expected += [2, 0, at["at_short"]]
    expected += [20 + 1, at["results"] + 4 * len(expected)]
    assert played(program).results(len(expected)) == expected


@pytest.mark.parametrize("isa", ["rv32i", "rv32imc"])
def test_vectored_interrupts(isa: str) -> None:
    """Five lines at once are served in the order of their priority, each at its own vector.

    Source: privileged architecture, mtvec and mip: MEI, MSI, MTI; the platform's by number.
    """
    lines = 1 << 3 | 1 << 7 | 1 << 11 | 1 << 16 | 1 << 31
    order = [INTERRUPT | number for number in (11, 3, 7, 16, 31)]
    assert played(built("vectored", isa)).results(9) == [lines, lines, *order, 0, 11]


@pytest.mark.quick
@pytest.mark.parametrize("isa", ["rv32i", "rv32imc"])
@pytest.mark.parametrize("wait", [0, 3])
def test_nested_interrupts(isa: str, wait: int) -> None:
    """Handlers interrupt handlers, and each return restores what was before.

    Source: privileged architecture, mstatus: MPIE holds the MIE of before the trap.
    """
    timer, external, software = (INTERRUPT | number for number in (7, 11, 3))
    entered = [timer, 0x1880, external, 0x1880, software, 0x1880]
    left = [software, external, timer]
    assert played(built("nested", isa), wait=wait).results(11) == [*entered, *left, 0x1888, 0x888]


@pytest.mark.parametrize("isa", ["rv32i", "rv32imc"])
@pytest.mark.parametrize("wait", [0, 5])
def test_sleep(isa: str, wait: int) -> None:
    """wfi ends in the first cycle in which the line is high; an interrupt returns behind it.

    Source: the time model of tests/core/naive.py: the access is raised one cycle after t0 was read and
    ends `wait` cycles later, the line is high 100 cycles after that; a trap takes one cycle more.
    """
    program = built("sleep", isa)
    woken = 1 + wait + 100
    assert played(program, wait=wait).results(4) == [
        woken,
        2,
        woken + 1,
        program.symbols["after_sleep"],
    ]
