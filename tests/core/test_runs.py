"""Programs in a bench: recorded traffic of a real core, interrupts, ends and resets, on the engines."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from busbox import Bench, Recording, load_bench
from busbox.bench.find import packaged_benches
from tests.core import assembler as asm

COLUMNS = ("start", "end", "address", "write", "lanes", "data", "terminator", "pc")
LEVERS = 0x4000_0000
OUT, IN, RISE, EVENTS = 0x00, 0x10, 0x18, 0x20


def same(one: Recording, other: Recording, count: int | None = None) -> bool:
    """Return whether the accesses of two runs are the same, or the first ones of them."""
    if count is None and len(one.accesses) != len(other.accesses):
        return False
    return all(
        np.array_equal(one.accesses[name][:count], other.accesses[name][:count]) for name in COLUMNS
    )


@pytest.mark.quick
@pytest.mark.parametrize("engine", ["llvm", "python"])
def test_signal_cabin_makes_the_accesses_that_were_recorded(engine: str) -> None:
    """All 58,479 accesses: cycles, lanes, data and pc.

    Source: the traffic of the same program, recorded on an independent instruction-set interpreter.
    """
    recorded = load_bench("signal_cabin_recorded").run("llvm")
    executed = load_bench("signal_cabin").run(engine)
    assert len(executed.accesses) == 58_479
    assert same(executed, recorded)
    assert executed.texts == recorded.texts


@pytest.mark.quick
def test_the_recorded_bench_names_the_program_that_the_other_executes() -> None:
    """Both folders can be copied alone; their program and its source are the same."""
    folders = [
        packaged_benches()[name].parent for name in ("signal_cabin", "signal_cabin_recorded")
    ]
    for name in ("signal_cabin.elf", "signal_cabin.c"):
        one, other = ((folder / name).read_bytes() for folder in folders)
        assert one == other


def test_the_judge_makes_them_too() -> None:
    """The same on Amaranth's simulator, as far as it comes in a few seconds."""
    judged = load_bench("signal_cabin").run("reference", 12_000)
    recorded = load_bench("signal_cabin_recorded").run("llvm", 12_000)
    assert len(judged.accesses) > 800
    assert same(judged, recorded)


def program(folder: Path, code: list[int], **core: Any) -> Bench:
    """Return a bench at 1 MHz that executes instructions from address 0."""
    contents = b"".join(word.to_bytes(4, "little") for word in code)
    (folder / "loop.bin").write_bytes(contents)
    slots = {"levers": {"model": "gpio", "base": LEVERS, "size": 0x1000, "width": 8}}
    memory = [{"at": 0, "size": 0x400, "clocks": 0}, {"at": 0x2000, "size": 0x100}]
    keys = {
        "clock": "1 MHz",
        "slot": slots,
        "traffic": {"file": "loop.bin", "at": 0},
        "core": {"isa": "rv32im", "memory": memory, **core},
    }
    return Bench(keys, folder=folder)


def counting(handler: int = 0x100) -> list[int]:
    """Return a loop that reads and writes levers, and a handler that counts in OUT's upper bits."""
    code = [
        *asm.li(5, handler),
        asm.csrrw(0, 0x305, 5),
        *asm.li(6, LEVERS),
        asm.addi(7, 0, 0x10),
        asm.sw(7, 6, RISE),
        *asm.li(8, 1 << 11),
        asm.csrrs(0, 0x304, 8),
        asm.csrrsi(0, 0x300, 8),
        asm.addi(9, 0, 12),
    ]
    loop = [
        asm.lw(10, 6, IN),
        asm.addi(11, 11, 3),
        asm.mul(12, 11, 9),
        asm.sb(12, 6, OUT),
        asm.addi(9, 9, -1),
        asm.sw(11, 0, 0x200),
    ]
    code += loop
    code += [asm.bne(9, 0, -4 * len(loop)), asm.csrrci(0, 0x300, 8), asm.jal(0, 0)]
    assert 4 * len(code) <= handler
    code += [asm.addi(0, 0, 0)] * (handler // 4 - len(code))
    return [*code, asm.sw(7, 6, EVENTS), asm.addi(13, 13, 1), asm.sb(13, 6, OUT + 1), asm.MRET]


@pytest.mark.parametrize("cycle", range(60, 150, 3))
def test_an_interrupt_in_any_cycle_of_a_loop_is_the_same_on_every_engine(
    cycle: int, tmp_path: Path
) -> None:
    """The judge, Python and machine code agree on each access, as a model and as hardware."""
    bench = program(tmp_path, counting(), interrupt="levers.interrupt")
    bench.keys["input"] = [{"at": cycle, "pin": "levers.in.4", "level": 1}]
    judged = bench.run("reference")
    assert judged.ended == "done"
    served = (judged.accesses.address == LEVERS + EVENTS).sum()
    assert served == 1
    hardware = bench.with_values(["slot.levers.as='hardware'"])
    for other in (bench.run("python"), bench.run("llvm"), hardware.run("llvm")):
        assert same(judged, other)


@pytest.mark.quick
def test_a_reset_restarts_the_program(tmp_path: Path) -> None:
    """After a reset by the board, the accesses begin again, with the registers 0."""
    bench = program(tmp_path, counting(), interrupt="levers.interrupt")
    bench.keys["reset"] = [{"at": 90}]
    whole, cut = program(tmp_path, counting()).run("llvm"), bench.run("llvm")
    begun = int((cut.accesses.start > 90).argmax())
    assert begun > 3
    assert np.array_equal(cut.accesses.data[begun:], whole.accesses.data)
    again = cut.accesses.start[begun:] - whole.accesses.start
    assert set(again.tolist()) == {91}
    assert same(cut, bench.run("python"))


@pytest.mark.quick
def test_the_end_of_a_program_is_where_it_jumps_to_itself(tmp_path: Path) -> None:
    """Such a run is done when the devices are at rest; the recording says how it ended, and where."""
    run = program(tmp_path, counting()).run("llvm")
    assert run.ended == "done"
    assert run.core is not None
    assert run.core.ended == "loop"
    assert "a jump to itself" in run.core_end
    assert run.core.pc == 4 * counting().index(asm.jal(0, 0))


@pytest.mark.quick
def test_an_access_that_no_slot_answers_traps_or_not(tmp_path: Path) -> None:
    """ERR is an access fault, found as core-trap without a handler; ``ignore`` makes it a load of 0."""
    code = [*asm.li(6, 0x5000_0000), asm.addi(10, 0, 7), asm.lw(10, 6, 0), *asm.li(6, LEVERS)]
    code += [asm.sw(10, 6, OUT), asm.jal(0, 0)]
    trapped = program(tmp_path, code).run("llvm")
    assert trapped.core is not None
    assert (trapped.core.ended, trapped.core.cause) == ("trap", 5)
    assert {"core-trap", "unmapped-access"} <= {one.rule for one in trapped.findings}
    ignored = program(tmp_path, code, bus_error="ignore").run("llvm")
    assert ignored.accesses.data.tolist() == [0, 0]
    assert [one.rule for one in ignored.findings] == ["unmapped-access"]


@pytest.mark.quick
@pytest.mark.parametrize(("how", "rules"), [("finding", ["core-trap"]), ("end", [])])
def test_ebreak_is_a_finding_or_the_end(how: str, rules: list[str], tmp_path: Path) -> None:
    """``ebreak`` stops the program; the bench says whether that is wrong."""
    run = program(tmp_path, [asm.EBREAK], ebreak=how).run("llvm")
    assert [one.rule for one in run.findings] == rules
    assert run.core is not None
    assert run.core.ended == "ebreak"


@pytest.mark.quick
def test_memories_come_from_the_segments(tmp_path: Path) -> None:
    """Without [[core.memory]], code is a ROM, and RAM reaches to the stack named in the link script."""
    folder = packaged_benches()["signal_cabin"].parent
    shutil.copy(folder / "signal_cabin.elf", tmp_path / "cabin.elf")
    keys = dict(load_bench("signal_cabin").keys)
    keys["traffic"] = {"file": "cabin.elf"}
    keys["core"] = {"isa": "rv32im", "ebreak": "end"}
    run = Bench(keys, folder=tmp_path).run("llvm")
    assert run.core is not None
    assert run.core.memories == ((0, 0x2D4, False), (0x2000_0000, 0x1_0000, True))
    assert run.texts["telegraph"].startswith("cabin open\n")


@pytest.mark.quick
def test_a_recording_of_a_core_is_saved_and_judged_again(tmp_path: Path) -> None:
    """What the file holds is what was recorded, the core with it."""
    from busbox import judge

    run = load_bench("night_watch").run("llvm")
    run.save(tmp_path / "night.recording.npz")
    loaded = Recording.load(tmp_path / "night.recording.npz")
    assert loaded.core == run.core
    assert loaded.core_end == run.core_end
    assert judge(loaded).findings == run.findings
