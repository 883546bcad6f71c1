"""The rule checker of the bus: each rule, the traces of the standard, and random ones.

Source of every rule and golden trace: Wishbone B4 (OpenCores, 2010), at the place named beside it.
Traces are written as columns, one character for each cycle, like the timing diagrams they come from.
"""

from __future__ import annotations

import ast
import random
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.bus.rule import KEPT, Breach
from busbox.bus.wishbone import rules
from busbox.bus.wishbone.rules import RULES, Mode, RuleChecker, Sample, check_trace

pytestmark = pytest.mark.quick

SIGNALS = (
    "rst", "cyc", "stb", "we", "adr", "sel", "write_data", "read_data",
    "ack", "err", "rty", "stall", "lock",
)  # fmt: skip
IDLE = Sample(0, 0, 0, 0, 0, 0, 0, 0, 0, 0)


def trace(**columns: str) -> list[Sample]:
    """Return the cycles of a trace from one string for each signal, one hex digit for each cycle."""
    length = len(next(iter(columns.values())))
    assert all(len(column) == length for column in columns.values())
    names = {name: columns.get(name, "0" * length) for name in SIGNALS}
    return [
        Sample(**{name: int(column[cycle], 16) for name, column in names.items()})
        for cycle in range(length)
    ]


def found(samples: list[Sample], mode: Mode = "standard") -> set[tuple[str, int]]:
    """Return the breaches of a complete trace as pairs of rule and cycle."""
    return {(breach.rule, breach.cycle) for breach in check_trace(samples, mode)}


class Case(NamedTuple):
    """One way to break one rule: what the columns are, and which of them mend it."""

    rule: str
    cycle: int
    broken: dict[str, str]
    mend: dict[str, str]
    mode: Mode = "standard"


CASES = {
    # Rules 3.00, 3.15: RST in cycle 1, so cycles 2 and 3 are at rest; cycle 4 is free again.
    "ACK in reset": Case("3.00", 2, {"rst": "01100", "ack": "00100"}, {"ack": "00000"}),
    "ERR in reset": Case("3.00", 2, {"rst": "01100", "err": "00100"}, {"err": "00000"}),
    "RTY in reset": Case("3.00", 2, {"rst": "01100", "rty": "00100"}, {"rty": "00000"}),
    "ACK until the edge after RST falls": Case(
        "3.00", 3, {"rst": "01100", "ack": "00010"}, {"rst": "01000", "ack": "00000"}
    ),
    # Rule 3.20.
    "STB in reset": Case("3.20", 2, {"rst": "01100", "stb": "00100"}, {"stb": "00000"}),
    "CYC in reset": Case("3.20", 2, {"rst": "01100", "cyc": "00100"}, {"cyc": "00000"}),
    "access raised one cycle too early after reset": Case(
        "3.20",
        2,
        {"rst": "0100", "cyc": "0011", "stb": "0011", "ack": "0001"},
        {"cyc": "0001", "stb": "0001"},
    ),
    "pipelined request in reset": Case(
        "3.20",
        2,
        {"rst": "0100", "cyc": "0010", "stb": "0010"},
        {"cyc": "0000", "stb": "0000"},
        "pipelined",
    ),
    # Rule 3.25.
    "STB without CYC": Case("3.25", 1, {"stb": "010"}, {"stb": "000"}),
    "STB without CYC, RST rising": Case("3.25", 1, {"rst": "010", "stb": "010"}, {"stb": "000"}),
    "CYC dips in a wait": Case(
        "3.25", 1, {"cyc": "101", "stb": "111", "ack": "001"}, {"cyc": "111"}
    ),
    "pipelined STB without CYC": Case("3.25", 1, {"stb": "010"}, {"stb": "000"}, "pipelined"),
    # Rule 3.35 with observation 3.25.
    "ACK out of nothing": Case("3.35", 1, {"ack": "010"}, {"ack": "000"}),
    "ERR out of nothing": Case("3.35", 1, {"err": "010"}, {"err": "000"}),
    "RTY out of nothing": Case("3.35", 1, {"rty": "010"}, {"rty": "000"}),
    "ACK from CYC alone": Case("3.35", 1, {"cyc": "010", "ack": "010"}, {"stb": "010"}),
    "ACK later than the cycle after": Case(
        "3.35", 2, {"cyc": "100", "stb": "100", "ack": "101"}, {"ack": "100"}
    ),
    "ACK for an access that a reset cut off": Case(
        "3.35",
        4,
        {"rst": "01000", "cyc": "10000", "stb": "10000", "ack": "00001"},
        {"ack": "00000"},
    ),
    "one terminator too many": Case(
        "3.35",
        2,
        {"cyc": "1110", "stb": "1000", "ack": "0110"},
        {"ack": "0100", "cyc": "1100"},
        "pipelined",
    ),
    "terminator of a request that a reset forgot": Case(
        "3.35",
        3,
        {"rst": "0100", "cyc": "1001", "stb": "1000", "ack": "0001"},
        {"ack": "0000"},
        "pipelined",
    ),
    # Rule 3.45.
    "ACK and ERR": Case(
        "3.45", 0, {"cyc": "10", "stb": "10", "ack": "10", "err": "10"}, {"err": "00"}
    ),
    "ACK and RTY": Case(
        "3.45", 0, {"cyc": "10", "stb": "10", "ack": "10", "rty": "10"}, {"rty": "00"}
    ),
    "ERR and RTY": Case(
        "3.45", 0, {"cyc": "10", "stb": "10", "err": "10", "rty": "10"}, {"err": "00"}
    ),
    "pipelined ACK and ERR": Case(
        "3.45",
        1,
        {"cyc": "11", "stb": "10", "ack": "01", "err": "01"},
        {"ack": "00"},
        "pipelined",
    ),
    # Rule 3.50, observation 3.10.
    "ACK stays after STB": Case(
        "3.50", 1, {"cyc": "110", "stb": "100", "ack": "110"}, {"ack": "100"}
    ),
    "ERR stays after STB": Case(
        "3.50", 1, {"cyc": "100", "stb": "100", "err": "110"}, {"err": "100"}
    ),
    "RTY stays after STB": Case(
        "3.50", 1, {"cyc": "100", "stb": "100", "rty": "110"}, {"rty": "100"}
    ),
    # Rule 3.60 with section 3.1.3.1.
    "ADR changes": Case(
        "3.60", 1, {"cyc": "110", "stb": "110", "ack": "010", "adr": "450"}, {"adr": "440"}
    ),
    "SEL changes": Case(
        "3.60", 1, {"cyc": "110", "stb": "110", "ack": "010", "sel": "f70"}, {"sel": "ff0"}
    ),
    "WE falls": Case(
        "3.60", 1, {"cyc": "110", "stb": "110", "ack": "010", "we": "100"}, {"we": "110"}
    ),
    "WE rises": Case(
        "3.60", 1, {"cyc": "110", "stb": "110", "ack": "010", "we": "010"}, {"we": "000"}
    ),
    "write data change": Case(
        "3.60",
        1,
        {"cyc": "110", "stb": "110", "ack": "010", "we": "110", "write_data": "890"},
        {"write_data": "880"},
    ),
    "a stalled request changes": Case(
        "3.60",
        1,
        {"cyc": "111", "stb": "110", "stall": "100", "ack": "001", "adr": "120"},
        {"adr": "110"},
        "pipelined",
    ),
    # Section 3.1.3.1.
    "STB falls before a terminator": Case(
        "3.1.3.1", 1, {"cyc": "11", "stb": "10"}, {"stb": "11", "ack": "01"}
    ),
    "STB and CYC fall before a terminator": Case(
        "3.1.3.1", 2, {"cyc": "110", "stb": "110"}, {"ack": "010"}
    ),
    # Rules 3.57, 3.58: cycle 0 is stalled, so nothing is there to be answered.
    "a stalled request is answered": Case(
        "3.57",
        0,
        {"cyc": "111", "stb": "110", "stall": "100", "ack": "101"},
        {"ack": "001"},
        "pipelined",
    ),
    # Section 3.1.3.2.
    "a stalled request is given up": Case(
        "3.1.3.2", 1, {"cyc": "110", "stb": "100", "stall": "100"}, {"stall": "000", "ack": "010"},
        "pipelined",
    ),
    "CYC falls before the last terminator": Case(
        "3.1.3.2",
        3,
        {"cyc": "1110", "stb": "1100", "ack": "0010"},
        {"cyc": "1111", "ack": "0011"},
        "pipelined",
    ),
    "the terminator comes after CYC": Case(
        "3.1.3.2", 1, {"cyc": "100", "stb": "100", "ack": "010"}, {"cyc": "110"}, "pipelined"
    ),
    "the trace ends with a request open": Case(
        "3.1.3.2", 2, {"cyc": "111", "stb": "110", "ack": "001"}, {"ack": "011"}, "pipelined"
    ),
    # Rules 3.80, 3.25.
    "CYC dips in a block": Case(
        "3.80",
        1,
        {"cyc": "1001", "stb": "1001", "ack": "1001", "lock": "1111"},
        {"cyc": "1111"},
    ),
    "CYC dips in a read-modify-write": Case(
        "3.80",
        1,
        {"cyc": "101", "stb": "101", "ack": "101", "we": "001", "lock": "111"},
        {"cyc": "111"},
    ),
    "CYC dips in a pipelined block": Case(
        "3.80",
        2,
        {"cyc": "11011", "stb": "10010", "ack": "01001", "lock": "11111"},
        {"cyc": "11111"},
        "pipelined",
    ),
    # Rule 3.85.
    "write, then read": Case(
        "3.85",
        1,
        {"cyc": "11", "stb": "11", "ack": "11", "we": "10", "lock": "11"},
        {"we": "01"},
    ),
    "two reads, then a write": Case(
        "3.85",
        2,
        {"cyc": "111", "stb": "111", "ack": "111", "we": "001", "lock": "111"},
        {"we": "000"},
    ),
    "read, write, read": Case(
        "3.85",
        2,
        {"cyc": "111", "stb": "111", "ack": "111", "we": "010", "lock": "111"},
        {"cyc": "110", "stb": "110", "ack": "110", "lock": "110"},
    ),
    "read, write, write": Case(
        "3.85",
        2,
        {"cyc": "1111", "stb": "1111", "ack": "1111", "we": "0111", "lock": "1111"},
        {"lock": "1100"},
    ),
    "write, then read that ends in ERR": Case(
        "3.85",
        1,
        {"cyc": "11", "stb": "11", "ack": "10", "err": "01", "we": "10", "lock": "11"},
        {"we": "11"},
    ),
    "pipelined write, then read": Case(
        "3.85",
        2,
        {"cyc": "1111", "stb": "1110", "stall": "0100", "ack": "0101", "we": "1000",
         "lock": "1111"},
        {"we": "1110"},
        "pipelined",
    ),
}  # fmt: skip


def test_the_table_covers_every_rule() -> None:
    """Each rule that is claimed to be checked is broken by some case, and no case is of another."""
    assert {case.rule for case in CASES.values()} == {rule.id for rule in RULES}


def test_every_rule_of_the_reference_has_its_place() -> None:
    """Each rule of the standard is in RULES, by id or by name, or named as tested by driving.

    Source: the list of rules that Busbox was asked to check, Wishbone B4 chapters 2, 3 and 8.
    """
    checked = " ".join(f"{rule.id} {rule.text}" for rule in RULES)
    reset, standard = ("3.00", "3.15", "3.20"), ("3.25", "3.1.3.1", "3.60", "3.35", "3.45", "3.50")
    for number in (*reset, *standard, "3.80", "3.85", "3.57", "3.58", "3.1.3.2"):
        assert number in checked
    for number in ("3.05", "3.10", "2.30", "3.30", "3.55", "3.65", "chapter 8"):
        assert number in str(rules.__doc__)
        assert number not in {rule.id for rule in RULES}


def test_what_only_the_checker_is_tested_on() -> None:
    """The rules that single cycles cannot exercise are the group and the pipelined ones."""
    only = {rule.id for rule in RULES if rule.applies == "checker only"}
    assert only == {"3.57", "3.1.3.2", "3.80", "3.85"}
    assert {rule.applies for rule in RULES} == {"checker only", "every port"}
    assert all("Wishbone B4" in rule.text for rule in RULES)


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_a_broken_trace_yields_its_rule(case: Case) -> None:
    """A trace that breaks one rule yields that rule, in its row, and nothing else.

    Source: beside each case in the table.
    """
    breaches = check_trace(trace(**case.broken), case.mode)
    assert [(breach.rule, breach.cycle) for breach in breaches] == [(case.rule, case.cycle)]


@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_the_mended_trace_is_silent(case: Case) -> None:
    """The same trace with the fault mended yields nothing.

    Source: beside each case in the table.
    """
    assert check_trace(trace(**case.broken | case.mend), case.mode) == []


# ---------------------------------------------------------------------------- golden traces


def transfers(count: int, ack: str) -> list[Sample]:
    """Return ``count`` transfers in one go from a master that never pauses, and a final idle cycle.

    ``ack`` is how the slave answers: ``combinational`` from STB, ``registered`` in the cycle after
    for one transfer, ``feedback`` registered but announced for the whole burst.
    """
    cycles, done, register = [], 0, 0
    while done < count:
        now = 1 if ack == "combinational" else register
        cycles.append(Sample(0, 1, 1, 0, done, 15, 0, 0xD0 + done if now else 0, now, 0))
        register = 1 if ack == "feedback" else 1 - register
        done += now
    return [*cycles, IDLE]


@pytest.mark.parametrize(
    ("ack", "clocks"),
    [
        ("combinational", (1, 2, 4, 8, 16, 32)),
        ("registered", (2, 4, 8, 16, 32, 64)),
        ("feedback", (2, 3, 5, 9, 17, 33)),
    ],
)
def test_cycle_counts_of_the_standard_are_silent(ack: str, clocks: tuple[int, ...]) -> None:
    """Transfers back to back take the published clocks, break nothing, and break once cut short.

    Source: Wishbone B4, table 4-1 and illustrations 3-3 and 3-4.
    """
    for count, expected in zip((1, 2, 4, 8, 16, 32), clocks, strict=True):
        cycles = transfers(count, ack)
        assert sum(sample.cyc for sample in cycles) == expected
        assert check_trace(cycles) == []
        cycles[expected - 1] = replace(cycles[expected - 1], ack=0)
        assert found(cycles) == {("3.1.3.1", expected)}


GOLDEN_BLOCK = {"stb": "1110", "cyc": "1111", "stall": "0100", "ack": "0101", "adr": "0110"}


def test_golden_pipelined_block_read_is_silent() -> None:
    """The published block read of two with one stall breaks nothing in pipelined mode.

    Source: Wishbone B4, illustration 3-11 (section 3.1.3.2).
    """
    assert check_trace(trace(**GOLDEN_BLOCK, read_data="0d0e", lock="1111"), "pipelined") == []
    assert check_trace([*trace(**GOLDEN_BLOCK, read_data="0d0e"), IDLE], "pipelined") == []


def test_golden_pipelined_block_read_is_not_of_standard_mode() -> None:
    """The same cycles in standard mode move an address, give up STB and answer after it.

    Source: Wishbone B4, rules 3.60 and 3.50, observation 3.10, section 3.1.3.1.
    """
    assert found(trace(**GOLDEN_BLOCK)) == {("3.60", 1), ("3.1.3.1", 3), ("3.50", 3)}


def test_golden_pipelined_single_is_silent() -> None:
    """A pipelined single without a stall (CYC two cycles, STB one) breaks nothing.

    Source: Wishbone B4, section 3.1.3.2.
    """
    assert check_trace(trace(cyc="110", stb="100", ack="010"), "pipelined") == []


def test_pipelined_master_on_a_standard_slave_is_silent() -> None:
    """With STALL = CYC and not ACK a request is accepted and answered in the same cycle.

    Source: Wishbone B4, section 5.2.1.
    """
    columns = {"cyc": "11110", "stb": "11110", "ack": "00110", "adr": "11120"}
    assert check_trace(trace(**columns, stall="11000"), "pipelined") == []
    assert found(trace(**columns, stall="11100"), "pipelined") == {("3.57", 2), ("3.60", 3)}


# ---------------------------------------------------------------------------- reset


@pytest.mark.parametrize("mode", ["standard", "pipelined"])
@pytest.mark.parametrize(
    "columns",
    [
        {"cyc": "1100000", "stb": "1100000"},
        {"cyc": "1110000", "stb": "1110000"},
        {"cyc": "1110000", "stb": "1100000"},
        {"cyc": "1110000", "stb": "1110000", "adr": "1120000", "we": "1100000", "sel": "ff00000"},
    ],
    ids=["masked at once", "up in the cycle of RST", "CYC alone left", "other signals move"],
)
def test_a_reset_in_the_middle_of_an_access_is_silent(columns: dict[str, str], mode: Mode) -> None:
    """A request that waits when RST rises in cycle 2 may go, at once or one cycle later.

    Source: Wishbone B4, rules 3.10 and 3.20.
    """
    stall = "1110000" if mode == "pipelined" else "0000000"
    assert check_trace(trace(rst="0011100", stall=stall, **columns), mode) == []
    without = {rule for rule, _ in found(trace(stall=stall, **columns), mode)}
    assert without & {"3.1.3.1", "3.1.3.2"}


def test_a_reset_forgets_accepted_requests() -> None:
    """Requests accepted before RST, or in the cycle in which it rises, need no terminator after it.

    Source: Wishbone B4, rules 3.15 and 3.20, section 3.1.3.2.
    """
    assert check_trace(trace(rst="0010", cyc="1100", stb="1100"), "pipelined") == []
    assert check_trace(trace(rst="0010", cyc="1110", stb="1110"), "pipelined") == []
    cycles = trace(rst="001000", cyc="111011", stb="110010", ack="000001")
    assert found(cycles, "pipelined") == set()
    assert found([replace(cycle, rst=0) for cycle in cycles], "pipelined") == {("3.1.3.2", 3)}


def test_a_reset_ends_a_group() -> None:
    """CYC that falls inside a group because of RST breaks nothing, and the next group is new.

    Source: Wishbone B4, rules 3.20, 3.80 and 3.85.
    """
    columns = {"cyc": "10001", "stb": "10001", "ack": "10001", "we": "10000", "lock": "11111"}
    assert check_trace(trace(rst="01100", **columns)) == []
    assert found(trace(**columns)) == {("3.80", 1), ("3.85", 4)}


def test_a_request_in_reset_is_none() -> None:
    """What is wrongly raised in reset is reported as that alone, whatever becomes of it.

    Source: Wishbone B4, rules 3.00 and 3.20.
    """
    cycles = trace(rst="0100", cyc="0000", stb="0010", ack="0010", err="0010")
    assert found(cycles) == {("3.00", 2), ("3.20", 2)}
    assert found(cycles, "pipelined") == {("3.00", 2), ("3.20", 2)}


# ---------------------------------------------------------------------------- what is allowed


def test_signals_may_move_where_nothing_waits() -> None:
    """Between accesses, after a terminator, and in a read the write data, all may change.

    Source: Wishbone B4, rule 3.60 (only while STB waits), rule 3.65 (read data).
    """
    cycles = trace(
        cyc="0110111", stb="0110111", ack="0010101",
        we="1001000", adr="9118266", sel="1773466", write_data="1234567", read_data="7654321",
        stall="1010101",
    )  # fmt: skip
    assert check_trace(cycles) == []


def test_cyc_may_fall_between_single_accesses() -> None:
    """Without the mark of a group CYC may fall after each access, and reads and writes mix.

    Source: Wishbone B4, rules 3.25 and 3.85 (they bind groups only).
    """
    assert check_trace(trace(cyc="10101", stb="10101", ack="10101", we="10010")) == []


def test_a_group_begins_with_cyc() -> None:
    """Cycles with the mark before the first one with CYC belong to no group yet.

    Source: Wishbone B4, rule 3.80.
    """
    assert check_trace(trace(lock="0110", cyc="0010", stb="0010", ack="0010")) == []
    assert check_trace(trace(lock="01110", cyc="10010", stb="10010", ack="10010")) == []


def test_a_dip_is_one_breach() -> None:
    """CYC that stays low for three cycles inside a group has fallen once.

    Source: Wishbone B4, rule 3.80.
    """
    cycles = trace(lock="11111", cyc="10001", stb="10001", ack="10001")
    assert [breach.rule for breach in check_trace(cycles)] == ["3.80"]


def test_a_group_ends_with_its_mark() -> None:
    """A cycle without the mark ends the group, also one in which nothing at all is up.

    Source: Wishbone B4, rules 3.80 and 3.85.
    """
    assert check_trace(trace(lock="10", cyc="10", stb="10", ack="10")) == []
    columns = {"cyc": "1001", "stb": "1001", "ack": "1001", "we": "1000"}
    assert found(trace(lock="1101", **columns)) == {("3.80", 1)}
    assert found(trace(lock="1111", **columns)) == {("3.80", 1), ("3.85", 3)}


def test_a_retried_read_counts_once() -> None:
    """A read that ended in RTY and was read again still makes a read-modify-write with its write.

    Source: Wishbone B4, rule 3.85, permissions 3.20 and 3.25.
    """
    columns = {"cyc": "111", "stb": "111", "we": "001", "lock": "111"}
    assert check_trace(trace(**columns, rty="100", ack="011")) == []
    assert found(trace(**columns, err="100", ack="011")) == {("3.85", 2)}


def test_a_wait_is_no_access_of_a_group() -> None:
    """Cycles in which an access of a group waits do not count as accesses.

    Source: Wishbone B4, rule 3.85.
    """
    columns = {"cyc": "1111", "stb": "1111", "we": "0011", "lock": "1111"}
    assert check_trace(trace(**columns, ack="0101")) == []
    stalled = {"cyc": "11111", "stb": "11110", "we": "00110", "lock": "11111", "stall": "10100"}
    assert check_trace(trace(**stalled, ack="00101"), "pipelined") == []


def test_a_spoilt_group_is_one_breach() -> None:
    """A group that has gone wrong is reported once, and the next group is looked at anew.

    Source: Wishbone B4, rule 3.85.
    """
    cycles = trace(cyc="1111011", stb="1111011", ack="1111011", we="1010010", lock="1111011")
    assert found(cycles) == {("3.85", 1), ("3.85", 6)}


def test_a_standard_trace_may_end_in_a_wait() -> None:
    """A standard access without a terminator in the last cycle has broken nothing yet.

    Source: Wishbone B4, section 3.1.3.1.
    """
    assert check_trace(trace(cyc="011", stb="011")) == []


# ---------------------------------------------------------------------------- where rules meet


def test_an_ack_that_never_falls_is_one_rule() -> None:
    """ACK from a request on breaks 3.50 in each cycle without STB; one that began alone breaks 3.35.

    Source: Wishbone B4, rules 3.35 and 3.50.
    """
    assert found(trace(cyc="1000", stb="1000", ack="1111")) == {
        ("3.50", 1),
        ("3.50", 2),
        ("3.50", 3),
    }
    assert found(trace(cyc="0010", stb="0010", ack="1111")) == {
        ("3.35", 0),
        ("3.35", 1),
        ("3.50", 3),
    }
    assert found(trace(cyc="1000", stb="1000", ack="1011")) == {("3.35", 2), ("3.35", 3)}


def test_a_registered_answer_is_late_in_standard_mode() -> None:
    """A terminator from the cycle before breaks 3.50 if STB has gone, and STB went too early.

    Source: Wishbone B4, rule 3.50 and observation 3.25, section 3.1.3.1.
    """
    cycles = trace(cyc="110", stb="100", ack="010")
    assert found(cycles) == {("3.1.3.1", 1), ("3.50", 1)}
    assert found(cycles, "pipelined") == set()


def test_a_terminator_needs_cyc() -> None:
    """STB without CYC is no request: its terminator breaks 3.35 beside 3.25, also after a request.

    Source: Wishbone B4, rules 3.25 and 3.35.
    """
    assert found(trace(stb="010", ack="010")) == {("3.25", 1), ("3.35", 1)}
    assert found(trace(cyc="10", stb="11", ack="11")) == {("3.25", 1), ("3.35", 1)}
    assert found(trace(stb="010", ack="010"), "pipelined") == {("3.25", 1), ("3.35", 1)}


def test_stb_without_cyc_does_not_wait() -> None:
    """STB that rose without CYC may fall again, and is no accepted request.

    Source: Wishbone B4, rules 3.25 and 3.57.
    """
    assert found(trace(stb="10")) == {("3.25", 0)}
    assert found(trace(stb="10", cyc="01", ack="01"), "pipelined") == {("3.25", 0), ("3.35", 1)}
    assert found(trace(stb="10", stall="10"), "pipelined") == {("3.25", 0)}


def test_cyc_dip_with_stb_up_breaks_both_rules_of_a_group() -> None:
    """In a group a cycle with STB and without CYC breaks 3.25 and 3.80; a changed ADR also 3.60.

    Source: Wishbone B4, rules 3.25, 3.60 and 3.80.
    """
    cycles = trace(cyc="101", stb="111", ack="001", lock="111", adr="122")
    assert found(cycles) == {("3.25", 1), ("3.60", 1), ("3.80", 1)}


def test_cyc_that_falls_early_leaves_nothing_open() -> None:
    """After CYC fell too early a late terminator has no request, and is one breach of its own.

    Source: Wishbone B4, section 3.1.3.2 and rule 3.35.
    """
    cycles = trace(cyc="10000", stb="10000", ack="00010")
    assert found(cycles, "pipelined") == {("3.1.3.2", 1), ("3.35", 3)}


def test_two_terminators_answer_one_request() -> None:
    """ACK and ERR in one cycle end one accepted request, so the other one is still open.

    Source: Wishbone B4, rule 3.45 and section 3.1.3.2.
    """
    cycles = trace(cyc="111", stb="110", ack="001", err="001")
    assert found(cycles, "pipelined") == {("3.45", 2), ("3.1.3.2", 2)}


# ---------------------------------------------------------------------------- the checker itself


def test_a_breach_says_what_and_where() -> None:
    """The text holds the port, what was seen, the demand with its source, and the cycle's signals."""
    cycles = trace(
        cyc="11",
        stb="11",
        we="11",
        adr="45",
        sel="37",
        write_data="12",
        read_data="0b",
        ack="01",
    )
    checker = RuleChecker("lamp", first_cycle=7)
    assert checker.take(cycles[0]) == ()
    (breach,) = checker.take(cycles[1])
    assert breach == checker.breaches[0]
    assert (breach.rule, breach.cycle) == ("3.60", 8)
    assert breach.text == (
        "lamp: ADR from 0x4 to 0x5 and SEL from 0x3 to 0x7 and write data from 0x1 to 0x2 while "
        "STB waited; ADR, WE, SEL and in a write the write data do not change while STB waits "
        "(Wishbone B4, rule 3.60). Cycle 8: RST 0 CYC 1 STB 1 WE 1 ADR 0x5 SEL 0111 "
        "write data 0x00000002 read data 0x0000000b ACK 1 ERR 0 RTY 0 STALL 0 LOCK 0"
    )


@pytest.mark.parametrize(
    ("columns", "mode", "seen"),
    [
        ({"rst": "10", "cyc": "01", "stb": "01"}, "standard", "CYC and STB asserted in reset"),
        ({"rst": "10", "err": "01"}, "standard", "ERR asserted in reset"),
        (
            {"cyc": "1", "stb": "1", "err": "1", "rty": "1"},
            "standard",
            "ERR and RTY asserted together",
        ),
        ({"rty": "1"}, "standard", "RTY asserted without a request"),
        ({"cyc": "10", "stb": "10", "ack": "11"}, "standard", "ACK asserted although STB fell"),
        (
            {"cyc": "11", "stb": "11", "ack": "01", "we": "10", "write_data": "55"},
            "standard",
            "WE from 0x1 to 0x0 while STB waited",
        ),
        ({"cyc": "110", "stb": "110"}, "pipelined", "CYC fell with 2 accepted requests open"),
        ({"cyc": "11", "stb": "11"}, "pipelined", "2 accepted requests open at the end"),
        (
            {"cyc": "111", "stb": "111", "ack": "111", "we": "001", "lock": "111"},
            "standard",
            "a write in a group that was so far: reads",
        ),
        (
            {"cyc": "11", "stb": "11", "ack": "11", "we": "10", "lock": "11"},
            "standard",
            "a read in a group that was so far: writes",
        ),
    ],
)
def test_the_text_names_what_was_seen(columns: dict[str, str], mode: Mode, seen: str) -> None:
    """The text of a breach begins with the port and the signals that broke the rule."""
    (breach,) = check_trace(trace(**columns), mode)
    assert breach.text.startswith(f"trace: {seen}; ")


def test_cycles_are_counted_through_idle_ones() -> None:
    """A breach after cycles in which nothing was up carries the number of its cycle."""
    checker = RuleChecker("cpu", first_cycle=-1)
    for cycle in [replace(IDLE, rst=1), *[IDLE] * 10]:
        assert checker.take(cycle) == ()
    (breach,) = checker.take(replace(IDLE, ack=1))
    assert breach.cycle == 10


def test_a_breach_is_returned_once() -> None:
    """A cycle without a fault returns nothing, also after one with a fault."""
    checker = RuleChecker("cpu")
    assert len(checker.take(replace(IDLE, ack=1))) == 1
    assert checker.take(replace(IDLE, cyc=1)) == ()
    assert checker.finish() == ()
    assert len(checker.breaches) == 1


def test_breaches_are_kept_up_to_a_limit_and_all_counted() -> None:
    """Of each rule 1000 breaches are kept, those of another rule too, and all are counted."""
    checker = RuleChecker("cpu")
    broken = replace(IDLE, stb=1)
    returned = sum(len(checker.take(broken)) for _ in range(1500))
    checker.take(replace(IDLE, ack=1))
    assert KEPT == 1000
    assert returned == 1500
    assert checker.counts == {"3.25": 1500, "3.35": 1}
    assert [breach.rule for breach in checker.breaches] == ["3.25"] * 1000 + ["3.35"]
    assert [breach.cycle for breach in checker.breaches] == [*range(1000), 1500]


def test_the_end_is_reported_once() -> None:
    """What is open at the end is returned, kept and counted by the first call of finish only.

    Source: Wishbone B4, section 3.1.3.2 (as many terminators as accepted requests).
    """
    checker = RuleChecker("cpu", "pipelined")
    checker.take(replace(IDLE, cyc=1, stb=1))
    (breach,) = checker.finish()
    assert (breach.rule, breach.cycle) == ("3.1.3.2", 0)
    assert checker.finish() == ()
    assert checker.breaches == [breach]
    assert checker.counts == {"3.1.3.2": 1}


def test_an_unknown_mode_is_refused() -> None:
    """A mode that does not exist is an error that names those that do."""
    with pytest.raises(ValueError, match="standard or pipelined, not 'burst'"):
        RuleChecker("cpu", "burst")  # type: ignore[arg-type]


def test_the_rules_are_plain_python() -> None:
    """The checker imports nothing but the standard library and Busbox itself."""
    tree = ast.parse(Path(str(rules.__file__)).read_text(encoding="utf-8"))
    modules = {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    modules |= {
        a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names
    }
    allowed = {"__future__", "collections", "dataclasses", "typing", "busbox"}
    assert {str(module).partition(".")[0] for module in modules} <= allowed


def test_breaches_and_cycles_cannot_be_changed() -> None:
    """Cycles may be handed in again and breaches kept: neither can be changed."""
    for thing, name in ((IDLE, "cyc"), (Breach("3.25", 0, ""), "cycle")):
        with pytest.raises(AttributeError):
            setattr(thing, name, 1)


# ---------------------------------------------------------------------------- random traces


@dataclass
class Legal:
    """A legal standard-mode trace, and for each of its bits that must not flip what that breaks.

    Attributes
    ----------
    cycles : the trace
    flips : (cycle, signal, bit) to the rule that the flipped bit breaks in that cycle
    """

    cycles: list[Sample] = field(default_factory=list)
    flips: dict[tuple[int, str, int], str] = field(default_factory=dict)

    def add(self, **signals: int) -> None:
        """Append one cycle."""
        self.cycles.append(replace(IDLE, **signals))

    def breaks(self, rule: str, signal: str, bits: int = 1) -> None:
        """Note that the low ``bits`` bits of a signal of the last cycle are needed as they are."""
        for bit in range(bits):
            self.flips[len(self.cycles) - 1, signal, bit] = rule


TERMINATORS = ("ack", "err", "rty")


def idle(legal: Legal, dice: random.Random, signals: dict[str, int]) -> None:
    """Add one cycle without a request; a terminator there would come out of nothing or stay up."""
    after_request = bool(legal.cycles and legal.cycles[-1].cyc and legal.cycles[-1].stb)
    legal.add(**signals, adr=dice.getrandbits(30), read_data=dice.getrandbits(32))
    for name in TERMINATORS:
        legal.breaks("3.50" if after_request else "3.35", name)
    if not signals.get("cyc"):
        legal.breaks("3.25", "stb")


def access(legal: Legal, dice: random.Random, we: int, lock: int, cut: bool = False) -> None:
    """Add an access with 0 to 3 waits; with ``cut`` a reset hits while it waits."""
    request = {
        "cyc": 1, "stb": 1, "we": we, "lock": lock, "adr": dice.getrandbits(30),
        "sel": dice.getrandbits(4), "write_data": dice.getrandbits(32),
    }  # fmt: skip
    waits = dice.randrange(1 if cut else 0, 4)
    for wait in range(waits + (not cut)):
        ended = wait == waits
        name = dice.choice(TERMINATORS[:2])
        read_data = dice.getrandbits(32)
        if not we:
            request["write_data"] = dice.getrandbits(32)
        legal.add(**request, read_data=read_data, **({name: 1} if ended else {}))
        legal.breaks("3.25", "cyc")
        if wait:
            legal.breaks("3.1.3.1", "stb")
            for signal, bits in (("adr", 30), ("sel", 4), ("we", 1), ("write_data", 32)):
                if signal != "write_data" or we:
                    legal.breaks("3.60", signal, bits)
        if ended:
            for other in set(TERMINATORS) - {name}:
                legal.breaks("3.45", other)
    if cut:
        reset(legal, dice, request)


def reset(legal: Legal, dice: random.Random, request: dict[str, int]) -> None:
    """Add a reset of 1 to 3 clocks and the cycle at rest after it; ``request`` was up before."""
    length = dice.randrange(1, 4)
    for cycle in range(length + 1):
        lines = request if cycle == 0 and dice.random() < 0.5 else {}
        legal.add(rst=int(cycle < length), **{**lines, "adr": dice.getrandbits(30)})
        if cycle:
            for name in TERMINATORS:
                legal.breaks("3.00", name)
            legal.breaks("3.20", "stb")
            legal.breaks("3.20", "cyc")


def group(legal: Legal, dice: random.Random) -> None:
    """Add a block of 3 to 5 accesses, or a read-modify-write, with cycles of CYC alone between."""
    we = dice.randrange(2)
    ways = dice.choice([[0, 1], [we] * dice.randrange(3, 6)])
    for number, way in enumerate(ways):
        begin = len(legal.cycles)
        access(legal, dice, way, lock=1)
        if len(legal.cycles) == begin + 1 and len(ways) > 2 and number >= (1 if we else 2):
            legal.breaks("3.85", "we")
        if number < len(ways) - 1:
            for _ in range(dice.randrange(3)):
                idle(legal, dice, {"cyc": 1, "lock": 1})
                legal.breaks("3.80", "cyc")
    idle(legal, dice, {})


def legal_trace(seed: int, length: int) -> Legal:
    """Return a random legal trace of ``length`` happenings."""
    dice = random.Random(seed)
    legal = Legal()
    for _ in range(length):
        what = dice.randrange(6)
        if what == 0:
            reset(legal, dice, {})
        elif what == 1:
            access(legal, dice, dice.randrange(2), lock=0, cut=True)
        elif what == 2:
            group(legal, dice)
        elif what == 3:
            idle(legal, dice, {"cyc": dice.randrange(2)})
        else:
            access(legal, dice, dice.randrange(2), lock=0)
    return legal


LEGAL = st.builds(legal_trace, st.integers(0, 2**32), st.integers(1, 20))
RANDOM = settings(max_examples=300, deadline=None, database=None)


@RANDOM
@given(LEGAL)
def test_random_legal_traces_are_silent(legal: Legal) -> None:
    """A legal standard-mode trace, whatever happens in it and in which order, yields nothing.

    Source: Wishbone B4, all rules of standard mode.
    """
    assert check_trace(legal.cycles) == []


@RANDOM
@given(LEGAL, st.data())
def test_any_flipped_bit_that_matters_is_found(legal: Legal, data: st.DataObject) -> None:
    """One flipped bit that a rule needs as it was is found as that rule in that cycle.

    Source: Wishbone B4, the rule that the trace's builder notes for the bit.
    """
    if not legal.flips:
        return
    rule = data.draw(st.sampled_from(sorted(set(legal.flips.values()))))
    cycle, signal, bit = data.draw(
        st.sampled_from([place for place, broken in legal.flips.items() if broken == rule])
    )
    cycles = list(legal.cycles)
    cycles[cycle] = replace(cycles[cycle], **{signal: getattr(cycles[cycle], signal) ^ 1 << bit})
    assert (rule, cycle) in found(cycles)


def test_the_random_traces_offer_every_rule_of_standard_mode() -> None:
    """The bits that may be flipped stand for each rule that is not of pipelined mode."""
    offered = {rule for seed in range(40) for rule in legal_trace(seed, 20).flips.values()}
    assert offered == {rule.id for rule in RULES} - {"3.57", "3.1.3.2"}


def pipelined_trace(seed: int, count: int) -> list[Sample]:
    """Return a legal pipelined block of ``count`` requests with random stalls and latencies."""
    dice = random.Random(seed)
    cycles: list[Sample] = []
    raised = accepted = ended = 0
    while ended < count:
        stb = int(accepted < raised or (raised < count and dice.random() < 0.7))
        raised = max(raised, accepted + stb)
        stall = int(dice.random() < 0.4)
        accepted += stb and not stall
        term = ended < accepted and dice.random() < 0.6
        name = dice.choice(TERMINATORS)
        ended += term
        request = {"stb": stb, "adr": raised, "sel": raised % 16} if stb else {}
        cycles.append(replace(IDLE, cyc=1, stall=stall, **request, **({name: 1} if term else {})))
    return [*cycles, IDLE]


@RANDOM
@given(st.integers(0, 2**32), st.integers(1, 12))
def test_random_pipelined_traces(seed: int, count: int) -> None:
    """A legal block of N requests is silent; with one terminator less, or one more, it is not.

    Source: Wishbone B4, section 3.1.3.2 (N accepted requests end with N terminators), rule 3.35.
    """
    cycles = pipelined_trace(seed, count)
    ended = [
        number for number, sample in enumerate(cycles) if sample.ack or sample.err or sample.rty
    ]
    assert len(ended) == count
    assert check_trace(cycles, "pipelined") == []
    one = random.Random(seed).choice(ended)
    less = [*cycles[:one], replace(cycles[one], ack=0, err=0, rty=0), *cycles[one + 1 :]]
    assert found(less, "pipelined") == {("3.1.3.2", len(cycles) - 1)}
    more = [*cycles[:-1], replace(IDLE, cyc=1, ack=1), IDLE]
    assert found(more, "pipelined") == {("3.35", len(cycles) - 1)}
