"""Buses that hold a request: drawn accesses come back as the steps that they are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.cpu.steps import AccessStep
from tests.formats.waveform.drawing import Cycle, Drawn, drawn, imported, named, step, text_of

pytestmark = pytest.mark.quick

WISHBONE = {
    "cyc": 1, "stb": 1, "we": 1, "adr": 32, "sel": 4, "write_data": 32, "read_data": 32, "ack": 1,
    "err": 1, "rty": 1,
}  # fmt: skip
VALID_READY = {
    "valid": 1, "ready": 1, "address": 32, "write_strobes": 4, "write_data": 32, "read_data": 32,
}  # fmt: skip
APB = {
    "psel": 1, "penable": 1, "pwrite": 1, "paddr": 32, "pwdata": 32, "prdata": 32, "pready": 1,
    "pslverr": 1, "pstrb": 4,
}  # fmt: skip
#: What does not count is unknown.
JUNK: dict[str, Cycle] = {
    "wishbone": {"cyc": 0, "stb": "x", "we": "x", "adr": "x", "sel": "x", "write_data": "x",
                 "read_data": "x", "ack": "x", "err": "z", "rty": "x"},
    "valid-ready": {"valid": 0, "ready": "x", "address": "x", "write_strobes": "x",
                    "write_data": "x", "read_data": "z"},
    "apb": {"psel": 0, "penable": "x", "pwrite": "x", "paddr": "x", "pwdata": "x", "prdata": "x",
            "pready": "x", "pslverr": "x", "pstrb": "x"},
}  # fmt: skip
WIDTHS = {"wishbone": WISHBONE, "valid-ready": VALID_READY, "apb": APB}


def cycles_of(kind: str, accesses: list[Drawn]) -> list[Cycle]:
    """Return the cycles of a bus that shows accesses, one after the other."""
    idle, cycles = JUNK[kind], [JUNK[kind]]
    for one in accesses:
        cycles += [idle] * one.idle
        cycles += [_cycle(kind, one, place) for place in range(one.length + 1 + (kind == "apb"))]
    return [*cycles, idle]


def _cycle(kind: str, one: Drawn, place: int) -> Cycle:
    last, write = place == one.length, one.write
    read_data = one.data if not write and one.end == "ack" else "x"
    write_data = one.data if write else "x"
    if kind == "wishbone":
        ends = {name: int(last and one.end == name) for name in ("ack", "err", "rty")}
        return {
            "cyc": 1, "stb": 1, "we": int(write), "adr": one.address, "sel": one.lanes,
            "write_data": write_data, "read_data": read_data if last else "x", **ends,
        }  # fmt: skip
    if kind == "valid-ready":
        return {
            "valid": 1, "ready": int(last), "address": one.address,
            "write_strobes": one.lanes if write else 0, "write_data": write_data,
            "read_data": read_data if last else "x",
        }  # fmt: skip
    ends_now = place == one.length + 1
    return {
        "psel": 1, "penable": int(place > 0), "pwrite": int(write), "paddr": one.address,
        "pwdata": write_data, "prdata": read_data if ends_now else "x",
        "pready": int(ends_now) if place else "x",
        "pslverr": int(one.end == "err") if ends_now else "x",
        "pstrb": one.lanes if write else "x",
    }  # fmt: skip


ENDS = {"wishbone": ("ack", "err", "rty"), "valid-ready": ("ack",), "apb": ("ack", "err")}


@pytest.mark.parametrize("kind", list(WIDTHS))
def test_drawn_accesses_come_back(kind: str) -> None:
    """Whatever the lengths, ends and pieces: address, data, lanes and waits of every access."""

    @given(
        accesses=drawn(ends=ENDS[kind]),
        piece=st.sampled_from((1, 7, 64, 1 << 20)),
        clock_last=st.booleans(),
    )
    def check(accesses: list[Drawn], piece: int, clock_last: bool) -> None:
        text = text_of(WIDTHS[kind], cycles_of(kind, accesses), clock_last=clock_last)
        expected, idle = [], 0
        for one in accesses:
            if one.end == "rty":
                idle += one.idle + one.length + 1
                continue
            expected.append(step(one, idle + one.idle, reads_all=kind != "wishbone"))
            idle = 0
        steps, notes = imported(text, named(kind, WIDTHS[kind]), piece=piece)
        assert steps == expected
        retried = sum(one.end == "rty" for one in accesses)
        assert bool(notes) == bool(retried)
        assert not retried or notes[0].startswith(f"{retried} access")

    check()


READ = Drawn(1, 1, False, 0x1000, 0x11, 15, "ack")
WRITE = Drawn(0, 0, True, 0x1004, 0x22, 3, "ack")


@pytest.mark.parametrize(
    ("kind", "place", "name", "value", "message"),
    [
        ("wishbone", 2, "stb", "x", "at 30 ns: stb (top.stb) is unknown (x or z)"),
        ("wishbone", 0, "cyc", "z", "at 10 ns: cyc (top.cyc) is unknown (x or z)"),
        ("wishbone", 2, "ack", "x", "at 30 ns: ack (top.ack) is unknown (x or z)"),
        ("wishbone", 3, "we", "x", "at 40 ns: we (top.we) is unknown (x or z)"),
        ("wishbone", 3, "adr", "x", "at 40 ns: the address is unknown (x or z)"),
        ("wishbone", 3, "sel", "1x11", "at 40 ns: the lanes are unknown (x or z)"),
        ("wishbone", 4, "write_data", "x", "at 50 ns: the data of a write are unknown (x or z)"),
        ("valid-ready", 0, "valid", "x", "at 10 ns: valid (top.valid) is unknown (x or z)"),
        ("valid-ready", 2, "ready", "x", "at 30 ns: ready (top.ready) is unknown (x or z)"),
        ("valid-ready", 3, "write_strobes", "x",
         "at 40 ns: write_strobes (top.write_strobes) is unknown (x or z)"),
        ("apb", 3, "penable", "x", "at 40 ns: penable (top.penable) is unknown (x or z)"),
        ("apb", 4, "pready", "z", "at 50 ns: pready (top.pready) is unknown (x or z)"),
    ],
)  # fmt: skip
def test_unknown_control_is_refused(
    kind: str, place: int, name: str, value: str, message: str
) -> None:
    """x or z where a signal counts: its time and its name are told."""
    cycles = [dict(cycle) for cycle in cycles_of(kind, [READ, WRITE])]
    cycles[place][name] = value
    with pytest.raises(InputError) as caught:
        imported(text_of(WIDTHS[kind], cycles), named(kind, WIDTHS[kind]))
    assert str(caught.value) == f"bus.vcd: {message}"


def test_unknown_data_count_in_selected_lanes_only() -> None:
    """A write may have x beside its lanes; a read with x in its lanes has no data."""
    cycles = [dict(cycle) for cycle in cycles_of("wishbone", [READ, WRITE])]
    cycles[3]["read_data"] = "x0010001"
    cycles[4]["write_data"] = f"{16 * 'x'}{0x2233:016b}"
    steps, _ = imported(text_of(WISHBONE, cycles), named("wishbone", WISHBONE))
    assert steps == [
        AccessStep(False, 0x1000, None, 15, 1),
        AccessStep(True, 0x1004, 0x2233, 3, 0),
    ]
    cycles[3] |= {"sel": 1, "read_data": f"{24 * 'x'}{0x11:08b}"}
    steps, _ = imported(text_of(WISHBONE, cycles), named("wishbone", WISHBONE))
    assert steps[0] == AccessStep(False, 0x1000, 0x11, 1, 1)


def test_an_access_that_is_open_at_the_end_is_played() -> None:
    """Its start is known; a read has no word to compare; it is told."""
    cycles = cycles_of("wishbone", [READ, WRITE])[:3]
    steps, notes = imported(text_of(WISHBONE, cycles), named("wishbone", WISHBONE))
    assert steps == [AccessStep(False, 0x1000, None, 15, 1)]
    assert notes == (
        "1 access still open at the end of the file, played without a word to compare",
    )


def test_an_access_that_is_given_up_is_left_out() -> None:
    """A master that drops its request before the end made no access."""
    cycles = cycles_of("wishbone", [READ, WRITE])
    del cycles[3]
    cycles.insert(3, JUNK["wishbone"])
    steps, notes = imported(text_of(WISHBONE, cycles), named("wishbone", WISHBONE))
    assert steps == [AccessStep(True, 0x1004, 0x22, 3, 3)]
    assert notes == ("1 access given up by the master left out",)


@pytest.mark.parametrize("piece", [5, 1 << 20])
def test_resets(piece: int) -> None:
    """Cycle 0 is the first without a reset; what a later one cuts off is left out, and told."""
    widths = {**WISHBONE, "rst_n": 1}
    first, second = cycles_of("wishbone", [READ]), cycles_of("wishbone", [WRITE])
    junk: Cycle = dict.fromkeys(WISHBONE, "x")
    cycles = [
        *({**junk, "rst_n": 0} for _ in range(3)),
        *({**cycle, "rst_n": 1} for cycle in first[:3]),
        *({**junk, "rst_n": 0} for _ in range(2)),
        *({**cycle, "rst_n": 1} for cycle in second),
    ]
    keys = named("wishbone", WISHBONE, reset_n="top.rst_n")
    steps, notes = imported(text_of(widths, cycles), keys, piece=piece)
    assert steps == [AccessStep(True, 0x1004, 0x22, 3, 5)]  # in cycle 6 of the bus
    assert notes == (
        "the reset at 70 ns (2 cycles) counts as idle time",
        "1 access cut off by a reset left out",
    )


@pytest.mark.parametrize(
    ("width", "sel", "address", "place", "lanes"),
    [
        (8, 1, 0x1003, 24, 0b1000), (8, 1, 0x1000, 0, 0b0001), (16, 2, 0x1002, 16, 0b1000),
        (16, 3, 0x1002, 16, 0b1100), (16, 1, 0x1000, 0, 0b0001), (32, 6, 0x1002, 0, 0b0110),
    ],
)  # fmt: skip
def test_a_narrow_bus_becomes_words_with_lanes(
    width: int, sel: int, address: int, place: int, lanes: int
) -> None:
    """Lanes and data are moved to where the address is in its word."""
    widths = {**WISHBONE, "write_data": width, "read_data": width, "sel": width // 8}
    for write in (False, True):
        one = Drawn(0, 0, write, address, 0xA5, sel, "ack")
        steps, _ = imported(
            text_of(widths, cycles_of("wishbone", [one])), named("wishbone", widths)
        )
        assert steps == [AccessStep(write, 0x1000, 0xA5 << place, lanes, 0)]


def test_without_lanes_a_write_must_be_aligned() -> None:
    """16 bits without SEL: a read of an odd byte is one of its halfword; a write is refused."""
    widths = {**WISHBONE, "write_data": 16, "read_data": 16}
    keys = {name: key for name, key in named("wishbone", widths).items() if name != "sel"}
    read = Drawn(0, 0, False, 0x1003, 0xA5, 1, "ack")
    steps, _ = imported(text_of(widths, cycles_of("wishbone", [read])), keys)
    assert steps == [AccessStep(False, 0x1000, 0xA5_0000, 0b1100, 0)]
    write = Drawn(0, 0, True, 0x1003, 0xA5, 1, "ack")
    message = "at 20 ns: a write without lanes must be at a multiple of 2, not 0x1003"
    with pytest.raises(InputError, match=message):
        imported(text_of(widths, cycles_of("wishbone", [write])), keys)


def test_addresses_may_count_words() -> None:
    """``address_step = 4``: a bus without the lowest two address lines."""
    one = Drawn(0, 0, True, 0x1000_0001, 1, 15, "ack")
    text = text_of(WISHBONE, cycles_of("wishbone", [one]))
    steps, _ = imported(text, named("wishbone", WISHBONE, address_step=4))
    assert steps == [AccessStep(True, 0x4000_0004, 1, 15, 0)]
    high = Drawn(0, 0, True, 0x4000_0000, 1, 15, "ack")
    text = text_of(WISHBONE, cycles_of("wishbone", [high]))
    with pytest.raises(InputError, match="at 20 ns: the address 0x100000000 is beyond 32 bits"):
        imported(text, named("wishbone", WISHBONE, address_step=4))


def test_what_lies_outside_the_slots_becomes_idle_time() -> None:
    """Its cycles count as waits of the next access inside; the number is told."""
    accesses = [READ, WRITE, READ, READ, WRITE]
    steps, notes = imported(
        text_of(WISHBONE, cycles_of("wishbone", accesses)),
        named("wishbone", WISHBONE),
        inside=lambda address: address == 0x1004,
    )
    assert [one.wait for one in steps] == [3, 6]  # type: ignore[union-attr]
    assert [one.target for one in steps] == [0x1004, 0x1004]  # type: ignore[union-attr]
    assert notes == ("3 accesses outside the slots of the bench became idle time",)


@pytest.mark.parametrize("falling", [False, True])
def test_the_clock_that_changes_or_stops_is_told(falling: bool) -> None:
    """Another period, a gap and an end before the file's, each with its time."""
    level = 0 if falling else 1
    edges = [10, 20, 30, 42, 54, 66, 200, 212]
    lines = [f"#0\n{1 - level}!\n0v\n"]
    for edge in edges:
        lines.append(f"#{edge}\n{level}!\n#{edge + 3}\n{1 - level}!\n")
    text = (
        "$timescale 1 ns $end\n$var wire 1 ! clk $end\n$var wire 1 v valid $end\n"
        "$var wire 8 d data $end\n$var wire 1 s strobe $end\n$enddefinitions $end\n"
        f"{''.join(lines)}#300\n"
    )
    keys = {
        "kind": "valid-ready", "clock_n" if falling else "clock": "clk", "valid": "valid",
        "ready": "valid", "address": "data", "write_strobes": "strobe", "write_data": "data",
    }  # fmt: skip
    steps, notes = imported(text, keys, piece=9)
    assert steps == []
    assert notes == (
        "the period of the clock changes from 10 ns to 12 ns at 30 ns (and 1 more like this)",
        "the clock stops at 212 ns; the file ends at 300 ns",
    )


def test_rounded_edges_are_no_change_of_the_period() -> None:
    """A clock whose period is no whole number of steps has edges a step apart."""
    text = text_of(WISHBONE, cycles_of("wishbone", [READ, WRITE]))
    times = {f"#{10 * number}": f"#{(31 * number + 1) // 3}" for number in range(20)}
    for old, new in sorted(times.items(), key=lambda one: -len(one[0])):
        text = text.replace(f"{old}\n", f"{new}\n")
    text = "\n".join(line for line in text.split("\n"))
    lines, last = [], -1
    for line in text.split("\n"):
        if line.startswith("#"):
            last = max(last, int(line[1:]))
            line = f"#{last}"
        lines.append(line)
    steps, notes = imported("\n".join(lines), named("wishbone", WISHBONE))
    assert len(steps) == 2
    assert notes == ()


def test_a_clock_without_an_edge_is_refused() -> None:
    """Nothing can be sampled."""
    text = text_of(WISHBONE, []).replace("1!", "0!")
    with pytest.raises(InputError, match=r"clock \(top.clk\) has no edge that counts"):
        imported(text, named("wishbone", WISHBONE))


def test_a_clock_that_becomes_unknown_is_refused() -> None:
    """From there on no cycle is sure."""
    text = text_of(WISHBONE, cycles_of("wishbone", [READ])) + "#90\nx!\n"
    with pytest.raises(InputError, match=r"at 90 ns: clock \(top.clk\) is unknown"):
        imported(text, named("wishbone", WISHBONE))


def test_an_access_in_cycle_0_is_moved() -> None:
    """No CPU of a bench can use cycle 0 (semantics page, rule 10)."""
    text = text_of(WISHBONE, cycles_of("wishbone", [WRITE])[1:])
    steps, notes = imported(text, named("wishbone", WISHBONE))
    assert steps == [AccessStep(True, 0x1004, 0x22, 3, 0)]
    assert notes == ("the first access began in cycle 0: it is played in cycle 1",)


def test_a_signal_may_be_given_line_by_line() -> None:
    """A list names lines, the most significant first."""
    widths = {**WISHBONE, "a1": 16, "a0": 16, "adr": 32}
    cycles = [dict(cycle) for cycle in cycles_of("wishbone", [READ, WRITE])]
    for cycle in cycles:
        address = cycle.pop("adr")
        high, low = divmod(address, 1 << 16) if isinstance(address, int) else ("x", "x")
        cycle |= {"a1": high, "a0": low}
    keys = named("wishbone", WISHBONE, adr=["top.a1", "top.a0"])
    steps, _ = imported(text_of(widths, cycles), keys)
    assert [one.target for one in steps] == [0x1000, 0x1004]  # type: ignore[union-attr]
