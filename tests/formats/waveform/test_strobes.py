"""A bus of strobes without a clock: times become cycles of a clock, exactly or told."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.cpu.steps import AccessStep
from tests.formats.waveform.drawing import imported

pytestmark = pytest.mark.quick

HEAD = (
    "$timescale 1 ns $end\n$var wire 1 r rd $end\n$var wire 1 w wr $end\n$var wire 16 a addr $end\n"
    "$var wire {width} d data $end\n$var wire 1 c cs $end\n$enddefinitions $end\n"
)
KEYS = {"kind": "strobes", "read_n": "rd", "write_n": "wr", "address": "addr", "data": "data"}

ONE = st.tuples(
    st.integers(1, 400),
    st.integers(1, 300),
    st.booleans(),
    st.integers(0, 0xFFFF),
    st.integers(0, 255),
)


@given(
    accesses=st.lists(ONE, max_size=8), clock=st.sampled_from((10**7, 3 * 10**6, 10**9)),
    piece=st.sampled_from((1, 40, 1 << 20)), start=st.sampled_from((0, 70)),
)  # fmt: skip
def test_drawn_strobes_come_back(
    accesses: list[tuple[int, int, bool, int, int]], clock: int, piece: int, start: int
) -> None:
    """Each moment is the next whole cycle from the first time of the file on; so are the waits."""
    lines, now = [f"#{start}\n1r\n1w\nbx a\nbz d\n"], start
    free, expected, inexact = 1, [], 0
    for gap, length, write, address, data in accesses:
        begin, now = now + gap, now + gap + length
        code = "w" if write else "r"
        lines.append(f"#{begin}\n0{code}\n")
        # The end of the strobe stands before the change of the data at its time: they are not sampled.
        lines.append(f"b{address:b} a\nb{data:b} d\n#{now}\n1{code}\nbx a\nbz d\n")
        cycles = [Fraction((time - start) * clock, 10**9) for time in (begin, now)]
        inexact += sum(cycle.denominator != 1 for cycle in cycles)
        first, end = (math.ceil(cycle) for cycle in cycles)
        lane = address & 3
        expected.append(
            AccessStep(write, address - lane, data << 8 * lane, 1 << lane, max(first - free, 0))
        )
        free = max(end, free)
    steps, notes = imported(
        HEAD.format(width=8) + "".join(lines), KEYS, piece=piece, clock_hz=clock
    )
    assert steps == expected
    told = [note for note in notes if "rounded" in note]
    assert [note.split()[0] for note in told] == ([f"{inexact}"] if inexact else [])


def test_what_is_rounded_is_told_once() -> None:
    """One sentence for the whole file, with the clock."""
    text = (
        HEAD.format(width=8) + "#0\n1r\n1w\nb100 a\nb1 d\n#150\n0w\n#255\n1w\n#500\n0w\n#600\n1w\n"
    )
    steps, notes = imported(text, KEYS, clock_hz=10**7)
    assert steps == [AccessStep(True, 4, 1, 1, 1), AccessStep(True, 4, 1, 1, 2)]
    assert notes == ("2 of 4 times rounded up to the next whole cycle of 10 MHz",)


def test_a_chip_that_is_not_selected_has_no_access() -> None:
    """The select counts at the strobe's end; unknown there, it is refused."""
    text = HEAD.format(width=8) + (
        "#0\n1r\n1w\n1c\nb100 a\nb1 d\n#100\n0w\n#200\n1w\n#300\n0c\n0w\n#400\n1w\n1c\n"
    )
    steps, _ = imported(text, KEYS | {"select_n": "cs"}, clock_hz=10**7)
    assert steps == [AccessStep(True, 4, 1, 1, 2)]
    with pytest.raises(InputError, match=r"at 600 ns: select_n \(cs\) is unknown \(x or z\)"):
        imported(text + "#500\n0r\nxc\n#600\n1r\n", KEYS | {"select_n": "cs"}, clock_hz=10**7)


@pytest.mark.parametrize("width", [16, 32])
def test_wider_buses(width: int) -> None:
    """Without lanes, all bytes of the bus are selected, where the address is in its word."""
    text = HEAD.format(width=width) + "#0\n1r\n1w\nb110 a\nb101 d\n#100\n0r\n#200\n1r\n#300\n"
    steps, _ = imported(text, KEYS, clock_hz=10**7)
    if width == 16:
        assert steps == [AccessStep(False, 4, 5 << 16, 0b1100, 0)]
    else:
        assert steps == [AccessStep(False, 4, 5, 0b1111, 0)]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("#0\n1r\n1w\nb0 a\nb0 d\n#5\n0r\n#6\n0w\n#7\n1w\n", "at 7 ns: both strobes are active"),
        ("#0\n1r\n1w\nb0 a\nb0 d\n#5\nxr\n", "at 5 ns: read_n (rd) is unknown (x or z)"),
        ("#0\n1r\n1w\nbx a\nb0 d\n#5\n0r\n#6\n1r\n", "at 6 ns: the address is unknown (x or z)"),
        ("#0\n1r\n1w\nb0 a\nbz d\n#5\n0w\n#6\n1w\n",
         "at 6 ns: the data of a write are unknown (x or z)"),
    ],
)  # fmt: skip
def test_what_is_not_sure_is_refused(text: str, message: str) -> None:
    """With its time and name."""
    with pytest.raises(InputError) as caught:
        imported(HEAD.format(width=8) + text, KEYS, clock_hz=10**7)
    assert str(caught.value) == f"bus.vcd: {message}"


def test_data_of_a_read_may_be_unknown() -> None:
    """A bus that nobody drives: nothing is compared."""
    text = HEAD.format(width=8) + "#0\n1r\n1w\nb0 a\nbz d\n#5\n0r\n#6\n1r\n"
    steps, _ = imported(text, KEYS, clock_hz=10**9)
    assert steps == [AccessStep(False, 0, None, 1, 4)]


def test_strobes_at_the_edges_of_the_file_are_told() -> None:
    """One that was active from the start, and one that does not end, are no accesses."""
    text = HEAD.format(width=8) + "#0\n0r\n1w\nb0 a\nb0 d\n#5\n1r\n#6\n0w\n#9\n"
    steps, notes = imported(text, KEYS, clock_hz=10**9)
    assert steps == []
    assert notes == ("2 accesses without a beginning or an end in the file left out",)


def test_a_clock_must_be_given() -> None:
    """Times alone are no cycles."""
    with pytest.raises(InputError, match="--clock: must be given"):
        imported(HEAD.format(width=8) + "#0\n", KEYS)
