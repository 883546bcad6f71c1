"""Buses with requests before the answers to others: drawn schedules come back as accesses."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.cpu.steps import AccessStep
from tests.formats.waveform.drawing import Cycle, Drawn, imported, named, step, text_of, waits

pytestmark = pytest.mark.quick

PIPELINED = {
    "cyc": 1, "stb": 1, "we": 1, "adr": 32, "sel": 4, "write_data": 32, "read_data": 32, "ack": 1,
    "err": 1, "stall": 1,
}  # fmt: skip
AXI = {
    "awvalid": 1, "awready": 1, "awaddr": 32, "wvalid": 1, "wready": 1, "wdata": 32, "wstrb": 4,
    "bvalid": 1, "bready": 1, "bresp": 2, "arvalid": 1, "arready": 1, "araddr": 32, "rvalid": 1,
    "rready": 1, "rdata": 32, "rresp": 2,
}  # fmt: skip
PIECES = st.sampled_from((3, 50, 1 << 20))


def accesses_of(number: int, ends: st.DrawFn | None = None) -> st.SearchStrategy[list[Drawn]]:
    """Return a fixed number of accesses whose times are drawn elsewhere."""
    one = st.builds(
        Drawn, st.just(0), st.just(0), st.booleans(),
        st.integers(0, 99).map(lambda word: 4 * word), st.integers(0, 0xFFFF_FFFF),
        st.integers(1, 15), st.sampled_from(("ack", "err")),
    )  # fmt: skip
    return st.lists(one, min_size=number, max_size=number)


@dataclass
class Lane:
    """One channel: a request is shown from ``begin`` to ``taken``, one after the other."""

    begin: list[int]
    taken: list[int]

    @classmethod
    def draw(cls, data: st.DataObject, count: int, first: int = 1) -> Lane:
        lane, free = cls([], []), first
        for _ in range(count):
            lane.begin.append(free + data.draw(st.integers(0, 2)))
            lane.taken.append(lane.begin[-1] + data.draw(st.integers(0, 2)))
            free = lane.taken[-1] + 1
        return lane

    def put(self, cycles: list[Cycle], valid: str, ready: str, shown: list[Cycle]) -> None:
        """Show the requests; where there is none, the channel's signals are unknown."""
        for cycle in cycles:
            cycle |= {valid: 0, ready: "x"}
        for begin, taken, what in zip(self.begin, self.taken, shown, strict=True):
            for number in range(begin, taken + 1):
                cycles[number] |= {valid: 1, ready: int(number == taken), **what}


def answers(data: st.DataObject, *requests: list[int]) -> list[int]:
    """Return a cycle for each answer: in order, and not before its requests."""
    found: list[int] = []
    for taken in zip(*requests, strict=True):
        least = max(*taken, *(one + 1 for one in found[-1:]), 0)
        found.append(least + data.draw(st.integers(0, 3)))
    return found


@given(data=st.data(), number=st.integers(0, 6), piece=PIECES)
def test_drawn_pipelined_accesses_come_back(data: st.DataObject, number: int, piece: int) -> None:
    """Requests go on while others wait for their answers; an answer may come in the same cycle."""
    accesses = data.draw(accesses_of(number))
    lane = Lane.draw(data, number)
    ends = answers(data, lane.taken)
    cycles: list[Cycle] = [dict.fromkeys(PIPELINED, "x") for _ in range(max([*ends, 0]) + 2)]
    shown: list[Cycle] = [
        {"we": int(one.write), "adr": one.address, "sel": one.lanes,
         "write_data": one.data if one.write else "x"}
        for one in accesses
    ]  # fmt: skip
    lane.put(cycles, "stb", "go", shown)
    for cycle in cycles:
        go = cycle.pop("go")
        cycle |= {"cyc": 1, "ack": 0, "err": 0, "stall": 1 - go if isinstance(go, int) else "x"}
    for one, end in zip(accesses, ends, strict=True):
        cycles[end] |= {one.end: 1, "read_data": "x" if one.write else one.data}
    expected = [
        step(one, wait, reads_all=False)
        for one, wait in zip(accesses, waits(lane.begin, ends), strict=True)
    ]
    steps, notes = imported(
        text_of(PIPELINED, cycles), named("wishbone-pipelined", PIPELINED), piece=piece
    )
    assert steps == expected
    overlaps = sum(lane.begin[one] <= ends[one - 1] for one in range(1, number))
    told = [note for note in notes if "played one after the other" in note]
    assert [note.split()[0] for note in told] == ([str(overlaps)] if overlaps else [])


@given(data=st.data(), counts=st.tuples(st.integers(0, 4), st.integers(0, 4)), piece=PIECES)
def test_drawn_axi4_lite_accesses_come_back(
    data: st.DataObject, counts: tuple[int, int], piece: int
) -> None:
    """Address and data of a write in any order; reads and writes in the order in which they end."""
    writes = list(data.draw(accesses_of(counts[0])))
    reads = list(data.draw(accesses_of(counts[1])))
    aw, w, ar = (Lane.draw(data, count) for count in (counts[0], counts[0], counts[1]))
    b, r = answers(data, aw.taken, w.taken), answers(data, ar.taken)
    cycles: list[Cycle] = [dict.fromkeys(AXI, "x") for _ in range(max([*b, *r, 0]) + 2)]
    aw.put(cycles, "awvalid", "awready", [{"awaddr": one.address} for one in writes])
    w.put(cycles, "wvalid", "wready", [{"wdata": one.data, "wstrb": one.lanes} for one in writes])
    ar.put(cycles, "arvalid", "arready", [{"araddr": one.address} for one in reads])
    for name, ends, accesses in (("b", b, writes), ("r", r, reads)):
        for cycle in cycles:
            cycle |= {f"{name}valid": 0, f"{name}ready": "x"}
        for end, one in zip(ends, accesses, strict=True):
            response: Cycle = {f"{name}resp": 0 if one.end == "ack" else 2}
            shown = response | ({"rdata": one.data} if name == "r" else {})
            cycles[end] |= {f"{name}valid": 1, f"{name}ready": 1, **shown}
    both = [
        (end, 0, min(aw.begin[place], w.begin[place]), True, writes[place])
        for place, end in enumerate(b)
    ] + [(end, 1, ar.begin[place], False, reads[place]) for place, end in enumerate(r)]
    both.sort(key=lambda one: one[:2])
    idle = waits([one[2] for one in both], [one[0] for one in both])
    expected = []
    for (_, _, _, write, one), wait in zip(both, idle, strict=True):
        shown_one = Drawn(0, 0, write, one.address, one.data, one.lanes, one.end)
        expected.append(step(shown_one, wait, reads_all=True))
    steps, _ = imported(text_of(AXI, cycles), named("axi4-lite", AXI), piece=piece)
    assert steps == expected


def _pipelined(*cycles: Cycle) -> tuple[list[object], tuple[str, ...]]:
    idle: Cycle = {
        "cyc": 1, "stb": 0, "we": 0, "adr": 0x10, "sel": 15, "write_data": 0, "read_data": 7,
        "ack": 0, "err": 0, "stall": 0,
    }  # fmt: skip
    text = text_of(PIPELINED, [idle | cycle for cycle in ({}, *cycles, {})])
    return imported(text, named("wishbone-pipelined", PIPELINED))  # type: ignore[return-value]


def test_an_answer_needs_a_request() -> None:
    """An ACK too many would move every answer after it."""
    with pytest.raises(InputError, match="at 30 ns: an answer without a request"):
        _pipelined({}, {"ack": 1})


def test_cyc_must_stay_until_the_answers() -> None:
    """Answers that do not come any more would be taken from the requests after them."""
    with pytest.raises(
        InputError, match=r"at 30 ns: CYC falls while a request has no answer \(1\)"
    ):
        _pipelined({"stb": 1}, {"cyc": 0})


def test_requests_without_an_answer_are_told() -> None:
    """A file that ends too early: what has an end is there, the rest is counted."""
    steps, notes = _pipelined({"stb": 1}, {"stb": 1, "ack": 1})
    assert steps == [AccessStep(False, 0x10, 7)]
    assert notes == ("1 access without a beginning or an end in the file left out",)


def test_a_response_of_axi4_lite_needs_its_requests() -> None:
    """A write's response before its data is no AXI4-Lite."""
    idle: Cycle = dict.fromkeys(AXI, 0)
    cycles = [idle, idle | {"awvalid": 1, "awready": 1}, idle | {"bvalid": 1, "bready": 1}, idle]
    with pytest.raises(InputError, match="at 30 ns: the response of a write without a request"):
        imported(text_of(AXI, cycles), named("axi4-lite", AXI))
    cycles[2] = idle | {"rvalid": 1, "rready": 1}
    with pytest.raises(InputError, match="at 30 ns: the data of a read without a request"):
        imported(text_of(AXI, cycles), named("axi4-lite", AXI))


def test_a_reset_clears_what_waits() -> None:
    """Requests before a reset get no answer after it."""
    widths = {**AXI, "rst": 1}
    idle: Cycle = dict.fromkeys(widths, 0)
    read = [
        idle | {"arvalid": 1, "arready": 1, "araddr": 8},
        idle | {"rvalid": 1, "rready": 1, "rdata": 5},
    ]
    cycles = [idle, read[0], idle | {"rst": 1}, idle, *read]
    steps, notes = imported(text_of(widths, cycles), named("axi4-lite", AXI, reset="top.rst"))
    assert steps == [AccessStep(False, 8, 5, 15, 3)]
    assert notes[1] == "1 access cut off by a reset left out"
