"""``busbox fit``."""

from __future__ import annotations

import csv
import gzip
import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox.bench.find import packaged_benches
from busbox.core.instructions import CLASSES
from busbox.formats.files import write_traffic
from busbox.recording.as_steps import steps_of
from tests.cli.saying import say
from tests.core import assembler as asm
from tests.core.assembler import Assembly
from tests.programs import FOLDER, bench_of

pytestmark = pytest.mark.usefixtures("files_outside")

RING = f"""
clock = "16 MHz"
[slot.levers]
model = "gpio"
base = 0x4000_0000
size = 0x1000
[traffic]
file = "{(FOLDER / "ring.elf").as_posix()}"
[core]
isa = "rv32im"
ebreak = "end"
"""


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def fitted(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    """Return the JSON object of ``busbox fit WORDS``."""
    found: dict[str, Any] = json.loads(say(capsys, "fit", *words, "--json"))
    return found


def test_the_clocks_of_a_core_in_hardware_explain_every_wait(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The recording of signal_cabin, 58,479 waits of a core that Busbox knows nothing of."""
    seen = packaged_benches()["signal_cabin_recorded"].with_name("signal_cabin.csv.gz")
    told = say(capsys, "fit", "signal_cabin", str(seen), "--set", "core.clocks=7")
    assert told.endswith("All 58,479 waits are explained.\n")
    table = told[told.index("[core.clocks]") : told.index("\n\n[[core")]
    assert table.splitlines() == [
        "[core.clocks]",
        "base = 3",
        "load = 4",
        "store = 4",
        "divide = 102",
        "branch_taken = 5",
        "jump = 9",
        "# as base: branch_not_taken",
        "# not executed, so not known: multiply, csr, fence, trap, return",
    ]
    assert told.count("\nclocks = 2\n") == 2


def recorded(file: str, clocks: dict[str, int], memory: tuple[int, int]) -> None:
    """Write what the program ring does with these clocks, of classes and of its two memories."""
    memories = [
        {"at": 0, "size": 0x4000, "clocks": memory[0], "writable": False},
        {"at": 0x2000_0000, "size": 0x4000, "clocks": memory[1]},
    ]
    core = {"clocks": clocks, "memory": memories}
    bench = bench_of("ring.elf", core=core)
    write_traffic(Path(file), steps_of(bench.run(), None))


#: What can stand between two accesses, by class: x5 is the bus, x7 a memory of the core.
BETWEEN: dict[str, Callable[[], list[int]]] = {
    "base": lambda: [asm.addi(6, 6, 1)],
    "load": lambda: [asm.lw(6, 7, 0)],
    "store": lambda: [asm.sw(6, 7, 4)],
    "multiply": lambda: [asm.mul(6, 6, 6)],
    "divide": lambda: [asm.div(6, 6, 6)],
    "branch_taken": lambda: [asm.beq(0, 0, 4)],
    "branch_not_taken": lambda: [asm.bne(0, 0, 4)],
    "jump": lambda: [asm.jal(0, 4)],
    "csr": lambda: [asm.csrrs(6, 0x340, 0)],
    "fence": lambda: [asm.fence()],
    "trap": lambda: [asm.ECALL],
}


def mixed(generator: random.Random, accesses: int) -> Assembly:
    """Return a program with many accesses, and a drawn mixture of instructions between two of them."""
    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_0000), *asm.li(7, 0x2000_0000))
    program.address_of(6, "handler")
    program.words(asm.csrrw(0, 0x305, 6))
    for _ in range(accesses):
        for make in BETWEEN.values():
            for _ in range(generator.choice([0, 0, 1, 2, 5])):
                program.words(*make())
        program.words(generator.choice([asm.sw(6, 5, 0), asm.lw(6, 5, 0x10)]))
    program.words(asm.EBREAK)
    program.label("handler")
    program.words(asm.csrrs(6, 0x341, 0), asm.addi(6, 6, 4), asm.csrrw(0, 0x341, 6), asm.MRET)
    return program


@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    seed=st.integers(0, 1 << 30),
    cycles=st.lists(st.integers(2, 60), min_size=len(CLASSES), max_size=len(CLASSES)),
    own=st.integers(0, 4),
    access_at=st.integers(0, 2),
)
def test_any_clocks_are_found_again(
    seed: int, cycles: list[int], own: int, access_at: int, capsys: pytest.CaptureFixture[str]
) -> None:
    """Drawn clocks of all classes, of a memory, and access_at: each is found, but for trap and return.

    Each trap is followed by one mret: their sum is found, and told.
    """
    clocks = dict(zip(CLASSES, cycles, strict=True))
    write_bench(mixed(random.Random(seed), 80))
    settled = ("--set", f"core.access_at={access_at}")
    given = [f"--set=core.clocks.{kind}={count}" for kind, count in clocks.items()]
    given += [f"--set=core.memory.1.clocks={own}", *settled]
    say(capsys, "record", "bench.toml", "-o", "played.csv", *given)
    found = fitted(capsys, "bench.toml", "played.csv", *settled)
    assert found["unexplained"] == []
    assert found["memories"][1]["clocks"] == own
    pair = found["clocks"].pop("trap") + found["clocks"].pop("return")
    assert pair == clocks.pop("trap") + clocks.pop("return")
    assert found["clocks"] == clocks
    (note,) = found["notes"]
    assert note.startswith(
        f"return cannot be told apart from trap: only trap + return = {pair} is known. It is left at "
    )


def rows_of(file: str) -> list[list[str]]:
    """Return the rows of a CSV file."""
    with Path(file).open(encoding="utf-8", newline="") as text:
        return list(csv.reader(text))


def changed(file: str, change: Callable[[list[list[str]]], None]) -> None:
    """Change the rows of a CSV file."""
    rows = rows_of(file)
    change(rows)
    text = "".join(",".join(row) + "\n" for row in rows)
    Path(file).write_text(text, encoding="utf-8")


def test_waits_that_no_clocks_explain_are_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Two waits 5 and 40 cycles too long, among 80: the clocks are those of the others."""
    write_bench(mixed(random.Random(1), 80))
    given = ("--set=core.clocks.base=2", "--set=core.clocks.divide=30", "--set=core.clocks.jump=4")
    say(capsys, "record", "bench.toml", "-o", "played.csv", *given)

    def spoil(rows: list[list[str]]) -> None:
        for row, more in ((12, 5), (31, 40)):
            rows[row][0] = str(int(rows[row][0]) + more)

    changed("played.csv", spoil)
    found = fitted(capsys, "bench.toml", "played.csv")
    assert [one["access"] for one in found["unexplained"]] == [11, 30]
    assert [one["wait"] - one["expected"] for one in found["unexplained"]] == [5, 40]
    assert {"base": 2, "divide": 30, "jump": 4}.items() <= found["clocks"].items()
    told = say(capsys, "fit", "bench.toml", "played.csv")
    assert "2 of 80 waits are not explained\n" in told
    assert "They differ by 40 cycles at most, 22 typically." in told
    pc = f"{found['unexplained'][0]['pc']:#010x}"
    assert told.splitlines()[-2].split()[-1] == pc


@pytest.mark.parametrize(
    ("row", "column", "word", "expected"),
    [
        (3, 2, "0x40000004",
         "access 2: the recording has a write of 0x100 to 0x40000004, pc 0x54, and the program makes "
         "a write of 0x100 to 0x40000000, pc 0x54, at pc 0x00000054 (lamp, ring.c:10)"),
        (3, 5, "0x00000058",
         "access 2: the recording has a write of 0x100 to 0x40000000, pc 0x58, and the program makes "
         "a write of 0x100 to 0x40000000, pc 0x54, at pc 0x00000054 (lamp, ring.c:10)"),
        (3, 3, "0x00000101",
         "access 2: the recording has a write of 0x101 to 0x40000000, pc 0x54, and the program makes "
         "a write of 0x100 to 0x40000000, pc 0x54, at pc 0x00000054 (lamp, ring.c:10)"),
        (3, 4, "0011",
         "access 2: the recording has a write of 0x100 to 0x40000000, lanes 0011, pc 0x54, and the "
         "program makes a write of 0x100 to 0x40000000, pc 0x54, at pc 0x00000054 (lamp, ring.c:10)"),
        (3, 2, "0x20003ffc",
         "access 2: the recording has a write of 0x100 to 0x20003ffc, pc 0x54, and the program makes "
         "a write of 0x100 to 0x40000000, pc 0x54, at pc 0x00000054 (lamp, ring.c:10). The recorded "
         "address is in a memory of the core: record accesses to slots only, or say with "
         "[[core.memory]] what the core's own memories are"),
    ],
)  # fmt: skip
def test_the_first_access_that_differs_is_shown(
    row: int, column: int, word: str, expected: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One cell of a row is spoiled: that row is named, and what the program does instead."""
    recorded("played.csv", {}, (0, 1))

    def spoil(rows: list[list[str]]) -> None:
        rows[row][column] = word
        if column == 2 and word == "0x40000004":
            rows[row + 9][column] = word  # a later one is not named

    changed("played.csv", spoil)
    assert rows_of("played.csv")[3][3] in ("0x00000100", "0x00000101")
    Path("ring.toml").write_text(RING, encoding="utf-8")
    assert say(capsys, "fit", "ring.toml", "played.csv", code=2) == (
        f"busbox: played.csv:{row + 1}: {expected}\n"
    )


def test_data_on_other_lanes_does_not_count(capsys: pytest.CaptureFixture[str]) -> None:
    """A core may put anything on lanes that it does not select; a recorder may keep that."""
    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_0000), *asm.li(6, 0x55), asm.sb(6, 5, 1), asm.EBREAK)
    Path("played.csv").write_text(
        "wait,op,address,data,lanes,pc\n12,write,0x40000000,0x12345567,0010,\n", encoding="utf-8"
    )
    write_bench(program)
    assert fitted(capsys, "bench.toml", "played.csv")["unexplained"] == []


def write_bench(program: Assembly) -> None:
    """Write a bench that executes a program at address 0, to bench.toml."""
    Path("program.bin").write_bytes(program.image())
    Path("bench.toml").write_text(
        'clock = "16 MHz"\n[slot.levers]\nmodel = "gpio"\nbase = 0x4000_0000\nsize = 0x1000\n'
        '[traffic]\nfile = "program.bin"\nat = 0\n[core]\nisa = "rv32im"\nebreak = "end"\n'
        "[[core.memory]]\nat = 0\nsize = 0x4000\n[[core.memory]]\nat = 0x2000_0000\nsize = 0x100\n",
        encoding="utf-8",
    )


def test_a_loop_without_accesses_is_no_hang(capsys: pytest.CaptureFixture[str]) -> None:
    """Two jumps to each other, for ever: told, as the recorded wait allows for so many instructions."""
    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_0000), asm.sw(0, 5, 0), asm.jal(0, 4), asm.jal(0, -4))
    write_bench(program)
    Path("played.csv").write_text(
        "wait,op,address,data,lanes,pc\n6,write,0x40000000,0,1111,\n9,read,0x40000010,0,1111,\n",
        encoding="utf-8",
    )
    told = say(capsys, "fit", "bench.toml", "played.csv", code=2)
    assert told.startswith(
        "busbox: played.csv:3: access 1: the recording has a read from 0x40000010, and the program "
        "makes no access, at pc 0x000000"
    )


def test_a_program_that_has_ended_makes_no_access(capsys: pytest.CaptureFixture[str]) -> None:
    """The recording goes on behind ebreak."""
    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_0000), asm.sw(0, 5, 0), asm.EBREAK)
    write_bench(program)
    Path("played.csv").write_text(
        "wait,op,address,data,lanes,pc\n6,write,0x40000000,0,1111,\n9,read,0x40000010,0,1111,\n",
        encoding="utf-8",
    )
    assert say(capsys, "fit", "bench.toml", "played.csv", code=2) == (
        "busbox: played.csv:3: access 1: the recording has a read from 0x40000010, and the program "
        "has ended (ebreak), at pc 0x0000000c\n"
    )


def test_a_counter_of_cycles_that_is_read_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """csrr of mcycle (0xb00): its word here is not that of the recording."""
    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_0000), asm.csrrs(6, 0xB00, 0), asm.sw(0, 5, 0), asm.EBREAK)
    write_bench(program)
    Path("played.csv").write_text(
        "wait,op,address,data,lanes,pc\n9,write,0x40000000,0,1111,\n", encoding="utf-8"
    )
    (note,) = [
        note for note in fitted(capsys, "bench.toml", "played.csv")["notes"] if "counter" in note
    ]
    assert note.startswith("The program reads a counter of cycles at 0x00000008, which")


def test_what_cannot_be_told_apart_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """One wait, of one or two instructions and a csr: their sum is known, and nothing else."""
    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_0000), asm.csrrs(6, 0x340, 0), asm.sw(0, 5, 0), asm.EBREAK)
    count = len(program.bytes) // 4 - 3
    write_bench(program)
    Path("played.csv").write_text(
        f"wait,op,address,data,lanes,pc\n{3 * count + 5},write,0x40000000,0,1111,\n",
        encoding="utf-8",
    )
    found = fitted(capsys, "bench.toml", "played.csv")
    assert found["unexplained"] == []
    (note,) = found["notes"]
    assert note.startswith("csr cannot be told apart from base: only base + "), note
    assert count * found["clocks"]["base"] + found["clocks"]["csr"] == 3 * count + 5


@pytest.mark.parametrize(
    ("edit", "row", "told"),
    [
        ('interrupt = "levers.interrupt"\n', "",
         "busbox: ring.toml: the core has interrupt lines (levers.interrupt), and a recording of "
         "accesses does not say when it was interrupted; record a program that works without "
         "interrupts, and leave out interrupt in [core]\n"),
        ("", "1,read,0x40000000,,1111,\n",
         "busbox: played.csv:2: a read must have the word that was read\n"),
        ("", "", "busbox: played.csv: must hold at least one access\n"),
    ],
)  # fmt: skip
def test_what_cannot_be_used_is_told(
    edit: str, row: str, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Interrupt lines, a read without its word, an empty recording."""
    Path("ring.toml").write_text(RING + edit, encoding="utf-8")
    Path("played.csv").write_text(f"wait,op,address,data,lanes,pc\n{row}", encoding="utf-8")
    assert say(capsys, "fit", "ring.toml", "played.csv", code=2) == told


def test_a_bench_without_a_program_and_steps_that_are_no_accesses_are_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Fit needs a program, and a recording has no polls."""
    Path("played.steps").write_text("write levers.OUT 1\npoll levers.IN == 1\n", encoding="utf-8")
    assert say(capsys, "fit", "first_light", "played.steps", code=2) == (
        "busbox: first_light: must have a program as its traffic, such as [traffic] file = "
        "'cabin.elf', not first_light.steps\n"
    )
    Path("ring.toml").write_text(RING, encoding="utf-8")
    assert "a recording holds accesses only, not a step 'poll'" in say(
        capsys, "fit", "ring.toml", "played.steps", code=2
    )


def test_the_recording_of_the_cabin_is_what_it_was() -> None:
    """58,479 rows and a header: nobody has changed the file that the first test is about."""
    seen = packaged_benches()["signal_cabin_recorded"].with_name("signal_cabin.csv.gz")
    assert gzip.decompress(seen.read_bytes()).count(b"\n") == 58_480
