"""Who called what made an access: from the frame information, against a count of calls and returns."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
from elftools.elf.elffile import ELFFile

from busbox import Bench, Recording
from busbox.explain.callers import Callers
from busbox.explain.why import Stories
from busbox.firmware.program import Firmware
from tests.core.naive import NaiveCore
from tests.programs import FOLDER, bench_of

#: ``ret`` in 32 and 16 bits, ``mret``. Source: RISC-V ISA manual, chapter "RV32I", table of
#: pseudo-instructions; chapter "C"; volume II.
RETURNS, MRET = (0x0000_8067, 0x8082), 0x3020_0073
#: From cycle 200 to the end, so that the interrupt comes at all depths, in prologues and epilogues too.
PULLS = [
    {"at": 200 + 83 * number, "pin": "levers.in.4", "level": 1 - number % 2} for number in range(60)
]


def bench(name: str) -> Bench:
    """Return the bench of a program that is interrupted again and again."""
    isa = {"ring.elf": "rv32im", "framed.elf": "rv32imc"}[name]
    return bench_of(name, core={"isa": isa, "interrupt": "levers.interrupt"}, input=PULLS)


class Counted:
    """The program on the naive core, with the calls, returns, interrupts and ends of these counted."""

    def __init__(self, name: str, recording: Recording) -> None:
        file = ELFFile(io.BytesIO((FOLDER / name).read_bytes()))
        self.rom = bytearray(0x4000)
        for segment in file.iter_segments("PT_LOAD"):
            place = segment["p_paddr"]
            self.rom[place : place + segment["p_filesz"]] = segment.data()
        memories = [(0, self.rom, 1, False), (0x2000_0000, bytearray(0x4000), 1, True)]
        isa = "rv32im" if name == "ring.elf" else "rv32imc"
        self.core = NaiveCore(isa, memories, file["e_entry"], {"base": 3})
        self.accesses = recording.accesses
        self.edges = recording.edges("levers.interrupt")
        self.calls: list[tuple[int, bool]] = []
        self.stacks: list[list[tuple[int, bool]]] = []

    def run(self) -> list[list[tuple[int, bool]]]:
        """Return, for each access, (address returned to, interrupted), the innermost first."""
        while len(self.stacks) < len(self.accesses):
            self.step()
        return self.stacks

    def step(self) -> None:
        """Execute one instruction, or take an interrupt."""
        core, before = self.core, self.core.pc
        raw = int.from_bytes(self.rom[before : before + 4], "little")
        length = 4 if raw & 3 == 3 else 2
        word = raw if length == 4 else raw & 0xFFFF
        cycles, levels = self.edges
        level = levels[np.searchsorted(cycles, core.cycle, side="right") - 1]
        enabled = core.stored["mstatus"] & 8 and core.stored["mie"]
        core.step(int(level) << 11, self.bus)
        if level == 1 and enabled:
            self.calls.insert(0, (before, True))
        elif word == MRET or word in RETURNS:
            pc, interrupted = self.calls.pop(0)
            assert (pc, interrupted) == (core.pc, word == MRET)
        elif core.pc != before + length and core.x[1] == before + length:
            self.calls.insert(0, (core.x[1], False))

    def bus(self, cycle: int, write: bool, *_: Any) -> tuple[int, int, bool]:
        """Answer as was recorded, and keep the calls that are open."""
        at = len(self.stacks)
        assert (cycle, write) == (self.accesses.start[at], self.accesses.write[at])
        self.stacks.append(list(self.calls))
        return int(self.accesses.end[at]), int(self.accesses.data[at]), False


@pytest.mark.parametrize("name", ["ring.elf", "framed.elf"])
def test_the_callers_at_an_access_are_the_calls_that_are_open(name: str) -> None:
    """At each access of a program that is interrupted between, before and behind its frames."""
    recording, system = bench(name).run(), bench(name).system()
    callers = Callers(system, recording, Firmware(FOLDER / name).frames)
    expected = Counted(name, recording).run()
    assert sum(any(interrupted for _, interrupted in stack) for stack in expected) > 30
    assert max(map(len, expected)) >= 5
    for number in range(len(recording.accesses)):
        seen = callers.of_access(number)
        assert [(one.pc, one.how == "interrupt") for one in seen] == expected[number], number
        assert all(one.at == one.pc - (one.how == "call") for one in seen)


def test_a_story_names_the_callers_with_their_lines() -> None:
    """Of an access in the interrupt: functions and lines of ring.c, and what was interrupted."""
    recording, system = bench("ring.elf").run(), bench("ring.elf").system()
    callers = Callers(system, recording, Firmware(FOLDER / "ring.elf").frames)
    number = next(
        number
        for number in range(len(recording.accesses))
        if [one.how for one in callers.of_access(number)] == ["call", "interrupt", *["call"] * 3]
    )
    parts = Stories(system, recording).tell(f"access.{number}").parts
    told = [
        (part.facts["how"], part.facts.get("function"), part.facts.get("source_line"))
        for part in parts
        if part.label == "called by"
    ]
    assert told[0] == ("call", "pulled", 34)
    assert told[1][:2] == ("interrupt", "bell")
    assert told[2:] == [("call", "station", 25), ("call", "main", 43), ("call", None, None)]
    assert parts[1].text == "pulled, ring.c:34: lamp(rings << 16); (returns to 0x168)"
    assert parts[2].text.startswith("an interrupt in bell, ring.c:")


def test_edges_and_findings_have_callers_too() -> None:
    """An edge of a lamp, and a finding whose cause is an access: as the access itself."""
    recording, system = bench("ring.elf").run(), bench("ring.elf").system()
    stories = Stories(system, recording)
    cycles = recording.edges("levers.out.8")[0]
    assert len(cycles) > 2
    edge = stories.tell(f"levers.out.8@{int(cycles[2])}")
    number = next(part.access for part in edge.parts if part.label == "caused by")
    by_edge = [part for part in edge.parts if part.label == "called by"]
    by_access = [
        part for part in stories.tell(f"access.{number}").parts if part.label == "called by"
    ]
    assert by_edge == by_access != []


def test_where_a_program_has_stopped_has_callers() -> None:
    """ebreak in a function that has called itself three times: three frames of it, and main."""
    memories = [{"at": 0, "size": 0x1000}, {"at": 0x2000_0000, "size": 0x4000}]
    fall = bench_of("fall.elf", core={"ebreak": "finding", "memory": memories})
    recording, system = fall.run(), fall.system()
    (number,) = [number for number, one in enumerate(recording.findings) if one.rule == "core-trap"]
    told = [
        part.facts.get("function")
        for part in Stories(system, recording).tell(f"finding.{number}").parts
        if part.label == "called by"
    ]
    assert told == ["fall", "fall", "fall", "main", None]


def test_without_frame_information_nothing_is_said_of_callers() -> None:
    """An address that no entry describes has no caller; neither has traffic without a core."""
    frames = Firmware(FOLDER / "ring.elf").frames
    assert frames.caller(0x3000, [0] * 32, lambda address: 0) is None
    assert frames.start(0x3000) is None
    recording = bench("ring.elf").run()
    system = bench_of("ring.elf").system(traffic=[])
    assert system.core is None
    assert Callers(system, recording, frames).of_access(0) == []
    assert Callers(system, recording, frames).at_end() == []
