"""The state of a core at any cycle of a run, by executing its program again."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from elftools.elf.elffile import ELFFile

from busbox import Bench, Recording
from busbox.core.instructions import CLASSES
from busbox.explain.again import Differs
from busbox.explain.execution import Execution
from tests.core import assembler as asm
from tests.core.assembler import Assembly
from tests.core.naive import NaiveCore
from tests.programs import FOLDER, bench_of

MEMORIES = [
    {"at": 0, "size": 0x4000, "clocks": 0, "writable": False},
    {"at": 0x2000_0000, "size": 0x4000, "clocks": 3},
]
CLOCKS = {kind: 2 + number % 5 for number, kind in enumerate(CLASSES)} | {"divide": 31}
#: Among them one in an access, one in a division, and two that are gone before they are seen.
PULLS = [
    {"at": at, "pin": "levers.in.4", "level": level}
    for at, level in ((400, 1), (410, 0), (900, 1), (903, 0), (1301, 1), (1302, 0), (1500, 1))
]


def ring(**core: Any) -> Bench:
    """Return the bench of the program ring, with an interrupt, clocks and memories."""
    given = {"interrupt": "levers.interrupt", "clocks": CLOCKS, "memory": MEMORIES} | core
    return bench_of("ring.elf", core=given, input=PULLS)


def boundaries(recording: Recording, access_at: int) -> list[tuple[int, int, list[int], int, int]]:
    """Return (cycle, pc, registers, instructions, mcause) of the naive core at each instruction.

    Its bus and its interrupt line do what was recorded.
    """
    file = ELFFile(io.BytesIO((FOLDER / "ring.elf").read_bytes()))
    rom, ram = bytearray(0x4000), bytearray(0x4000)
    for segment in file.iter_segments("PT_LOAD"):
        rom[segment["p_paddr"] : segment["p_paddr"] + segment["p_filesz"]] = segment.data()
    memories = [(0, rom, 0, False), (0x2000_0000, ram, 3, True)]
    core = NaiveCore("rv32im", memories, file["e_entry"], CLOCKS, access_at)
    accesses = recording.accesses
    number = iter(range(len(accesses)))

    def bus(cycle: int, write: bool, address: int, data: int, lanes: int) -> tuple[int, int, bool]:
        at = next(number)
        assert (cycle, write, address) == (
            accesses.start[at], accesses.write[at], accesses.address[at],
        )  # fmt: skip
        return int(accesses.end[at]), int(accesses.data[at]), False

    cycles, levels = recording.edges("levers.interrupt")
    found = []
    while True:
        state = core.cycle, core.pc, list(core.x), core.instructions, core.stored["mcause"]
        found.append(state)
        place = core.pc
        if rom[place : place + 4] == asm.EBREAK.to_bytes(4, "little"):
            return found
        level = levels[np.searchsorted(cycles, core.cycle, side="right") - 1]
        core.step(int(level) << 11, bus)


@pytest.mark.parametrize("access_at", [0, 1])
def test_the_state_is_that_of_the_last_instruction_that_has_ended(access_at: int) -> None:
    """In each of some 2,000 cycles, against a naive core that executes from interrupt to interrupt."""
    bench = ring(access_at=access_at)
    recording, setup = bench.run(), bench.system().core
    assert setup is not None
    assert np.count_nonzero(recording.accesses.pc == 0x10C) >= 3  # it was interrupted
    expected = boundaries(recording, access_at)
    execution, place = Execution(setup, recording), 0
    for cycle in range(1, recording.cycles):
        while place + 1 < len(expected) and expected[place + 1][0] <= cycle:
            place += 1
        # One execution goes on from cycle to cycle, another begins anew now and then.
        again = Execution(setup, recording) if cycle % 101 == 0 else execution
        state = again.to_cycle(cycle)
        seen = (state.pc, list(state.registers), state.instructions, state.machine["mcause"])
        assert seen == expected[place][1:], cycle


def test_a_reset_begins_again_with_what_is_in_memory() -> None:
    """Of the board, in the middle of an access and of a division: pc and registers of the start."""
    for at in (501, 777):
        bench = bench_of("ring.elf", core={"clocks": CLOCKS}, reset=[{"at": at, "length": 3}])
        recording, setup = bench.run(), bench.system().core
        assert setup is not None
        assert recording.resets == ((at, 3),)
        execution = Execution(setup, recording)
        before = execution.to_cycle(at)
        assert before.instructions > 10
        state = execution.to_cycle(at + 4)
        assert (state.pc, set(state.registers), state.instructions) == (0, {0}, 0)
        assert recording.core is not None
        last = execution.to_cycle(recording.core.cycle)
        assert (last.pc, last.instructions) == (recording.core.pc, recording.core.instructions)


def program(folder: Path, *words: int) -> Bench:
    """Return the bench of a program that enables the external line, and then does this."""
    assembly = Assembly(0)
    assembly.words(*asm.li(5, 0x4000_0000), *asm.li(6, 1 << 4), asm.sw(6, 5, 0x18))
    assembly.words(*asm.li(7, 1 << 11), asm.csrrw(0, 0x304, 7), *words)
    keys = {
        "clock": "1 MHz",
        "slot": {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}},
        "input": [{"at": 300, "pin": "levers.in.4", "level": 1}],
        "core": {"isa": "rv32im", "ebreak": "end", "interrupt": "levers.interrupt"},
        "traffic": {"file": "program.bin", "at": 0},
    }
    (folder / "program.bin").write_bytes(assembly.image())
    return Bench(keys, folder=folder, name="program")


@pytest.mark.parametrize(("word", "waits"), [(asm.WFI, "sleep"), (asm.jal(0, 0), "loop")])
def test_what_the_core_waits_for_is_named(word: int, waits: str, tmp_path: Path) -> None:
    """Asleep in wfi, or in a jump to itself, whose rounds are counted; ended by ebreak at the end."""
    bench = program(tmp_path, word, asm.EBREAK)
    recording, setup = bench.run(until=400), bench.system().core
    assert setup is not None
    execution = Execution(setup, recording)
    states = {cycle: execution.to_cycle(cycle) for cycle in (100, 130, 200, 299)}
    assert {state.waits for state in states.values()} == {waits}
    rounds = states[130].instructions - states[100].instructions
    assert rounds == (10 if waits == "loop" else 0)
    assert recording.core is not None
    end = execution.to_cycle(recording.core.cycle + 1)
    assert end.waits == ("loop" if waits == "loop" else "ebreak")
    assert (end.pc, end.instructions) == (recording.core.pc, recording.core.instructions)


def test_what_was_not_recorded_is_told() -> None:
    """The recording of other clocks: the first access in another cycle is named."""
    recording, setup = ring().run(), ring(clocks=4).system().core
    assert setup is not None
    with pytest.raises(Differs, match="the recording has a write of 0xff to 0x40000008") as told:
        Execution(setup, recording).to_cycle(1000)
    assert told.value.number == 0
