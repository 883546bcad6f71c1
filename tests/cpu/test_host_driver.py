"""A driver in C that is compiled for this machine: accesses, lanes, lines, resets, recordings."""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox import Recording
from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.bench.opening import judge, opened
from busbox.explain.why import Stories
from tests.cpu.host_libraries import FLAGS, compiled, needs_compiler

pytestmark = needs_compiler

SLOTS: dict[str, dict[str, Any]] = {
    "levers": {"model": "gpio", "base": 0x1000, "size": 0x100, "width": 32},
    "book": {"model": "memory", "base": 0x2000, "size": 0x40, "kind": "ram"},
    "clock": {"model": "timer", "base": 0x3000, "size": 0x20},
}
#: What is compared: all that says what happened on the bus.
COLUMNS = ("write", "address", "data", "lanes", "start", "end", "terminator")


def bench_of(folder: Path, traffic: object = "driver.so:main", **keys: Any) -> Bench:
    """Return the cabin with a driver from the folder."""
    table = {"file": traffic} if isinstance(traffic, str) else traffic
    return Bench({"clock": "1 MHz", "slot": SLOTS, "traffic": table} | keys, folder=folder)


def accesses_of(recording: Recording) -> list[tuple[int, ...]]:
    """Return what happened on the bus, access by access."""
    found = recording.accesses
    return list(zip(*(getattr(found, name).tolist() for name in COLUMNS), strict=True))


def run(folder: Path, source: str, **keys: Any) -> Recording:
    """Compile a driver and run it."""
    compiled(folder, source)
    return bench_of(folder, **keys).run("python")


def story(recording: Recording, bench: Bench, asked: str) -> list[str]:
    """Return where the accesses of a story come from."""
    told = Stories(bench.system(), recording).tell(asked)
    return [part.place for part in told.parts if part.place]


MIXED = """
#include "busbox.h"
int main(void)
{
    bus_write32(0x1000, 0x12345678);
    bus_write16(0x1002, 0xabcd);
    bus_write8(0x1001, 0xef);
    bus_idle(7);
    if (bus_read32(0x1000) != 0xabcdef78) bus_write32(0x1000, 1);
    if (bus_read16(0x1000) != 0xef78) bus_write32(0x1000, 2);
    if (bus_read8(0x1003) != 0xab) bus_write32(0x1000, 3);
    return 0;
}
"""
MIXED_STEPS = """
write 0x1000 0x12345678 +{n}
write 0x1000 0xabcd0000 +{n} lanes 1100
write 0x1000 0x0000ef00 +{n} lanes 0010
pause 7
read  0x1000 +{n}
read  0x1000 +{n} lanes 0011
read  0x1000 +{n} lanes 1000
"""


@pytest.mark.parametrize("idle", [0, 1, 20])
def test_accesses_are_those_of_the_same_steps(idle: int, tmp_path: Path) -> None:
    """Addresses, words, lanes and cycles are equal; ``idle`` is a wait of each access alone."""
    compiled(tmp_path, MIXED)
    (tmp_path / "mixed.steps").write_text(MIXED_STEPS.format(n=idle), encoding="utf-8")
    driven = bench_of(tmp_path, {"file": "driver.so:main", "idle": idle}).run("python")
    listed = bench_of(tmp_path, "mixed.steps").run("python")
    assert accesses_of(driven) == accesses_of(listed)
    assert len(driven.accesses) == 6
    assert driven.findings == listed.findings == ()


@pytest.mark.parametrize("engine", ["reference", "llvm"])
def test_every_engine_plays_a_driver(engine: str, tmp_path: Path) -> None:
    """The run is the same on each."""
    compiled(tmp_path, MIXED)
    bench = bench_of(tmp_path)
    assert accesses_of(bench.run(engine)) == accesses_of(bench.run("python"))


#: Does what a file says: R or W, bytes, address and data in each line. What was read goes to OUT.
PLAYER = """
#include "busbox.h"
#include <stdio.h>
int main(void)
{
    char kind; unsigned size, address, data;
    FILE *file = fopen(PLAN, "r");
    while (fscanf(file, " %c %u %x %x", &kind, &size, &address, &data) == 4) {
        if (kind == 'W' && size == 4) bus_write32(address, data);
        else if (kind == 'W' && size == 2) bus_write16(address, (uint16_t)data);
        else if (kind == 'W') bus_write8(address, (uint8_t)data);
        else if (size == 4) bus_write32(0x1000, bus_read32(address));
        else if (size == 2) bus_write32(0x1000, bus_read16(address));
        else bus_write32(0x1000, bus_read8(address));
    }
    fclose(file);
    return 0;
}
"""


@st.composite
def plans(draw: st.DrawFn) -> list[tuple[str, int, int, int]]:
    """Accesses of every size in a memory of 16 bytes."""
    plan = []
    for _ in range(draw(st.integers(1, 12))):
        size = draw(st.sampled_from((1, 2, 4)))
        address = 0x2000 + size * draw(st.integers(0, 16 // size - 1))
        data = draw(st.integers(0, (1 << 8 * size) - 1))
        plan.append((draw(st.sampled_from("RW")), size, address, data))
    return plan


@pytest.fixture
def player(tmp_path: Path) -> Path:
    """Return the folder of a driver that plays the plan in ``plan.txt``."""
    plan = (tmp_path / "plan.txt").as_posix()
    compiled(tmp_path, PLAYER, flags=(*FLAGS, f'-DPLAN="{plan}"'))
    return tmp_path


@given(plan=plans())
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_bytes_and_half_words_reach_their_lanes(
    player: Path, plan: list[tuple[str, int, int, int]]
) -> None:
    """Whatever is written in pieces, reads of every size give what an array of bytes gives."""
    first = [("W", 4, 0x2000 + 4 * word, 0x01010101 * word) for word in range(4)]
    plan = [*first, *plan]
    lines = [f"{kind} {size} {address:x} {data:x}\n" for kind, size, address, data in plan]
    (player / "plan.txt").write_text("".join(lines), encoding="utf-8")
    book, expected = bytearray(16), []
    for kind, size, address, data in plan:
        place = slice(address - 0x2000, address - 0x2000 + size)
        if kind == "W":
            book[place] = data.to_bytes(size, "little")
        else:
            expected.append(int.from_bytes(book[place], "little"))
    accesses = bench_of(player).run("python").accesses
    shown = (accesses.address == 0x1000) & accesses.write.astype(bool)
    assert accesses.data[shown].tolist() == expected


def test_a_read_that_ends_with_err_gives_0_and_bus_error_says_so(tmp_path: Path) -> None:
    """The word is 0; ``bus_error`` is that of the last access, whatever pauses come behind it."""
    source = """
    #include "busbox.h"
    int main(void)
    {
        bus_write32(0x1000, 0x50 + (uint32_t)bus_error());
        uint32_t word = bus_read32(0x9000);
        bus_idle(3);
        bus_write32(0x1000, word + 0x60 + (uint32_t)bus_error());
        bus_write32(0x1000, 0x70 + (uint32_t)bus_error());
        bus_write32(0x9000, 1);
        bus_write32(0x1000, 0x80 + (uint32_t)bus_error());
        return 0;
    }
    """
    accesses = run(tmp_path, source).accesses
    words = accesses.data[accesses.address == 0x1000].tolist()
    assert words == [0x50, 0x61, 0x70, 0x81]


def test_c_code_takes_no_cycle_and_a_poll_reacts(tmp_path: Path) -> None:
    """A loop reads back to back until an input rises: the first read that sees it is the last."""
    source = """
    #include "busbox.h"
    int main(void)
    {
        for (volatile int wait = 0; wait < 100000; wait++) { }
        while (!(bus_read32(0x1010) & 0x10)) { }
        bus_write32(0x1000, 1);
        return 0;
    }
    """
    levels = [{"at": 41, "pin": "levers.in.4", "level": 1}]
    recording = run(tmp_path, source, input=levels)
    found = recording.accesses
    assert found.start.tolist() == list(range(1, 2 * len(found), 2))
    # IN is two cycles late (page of gpio): 41 is read from 43 on, and reads end in even cycles
    assert found.end.tolist()[-2:] == [44, 46]
    assert found.write.tolist() == [0] * (len(found) - 1) + [1]


LINES = """\
#include "busbox.h"
static inline __attribute__((always_inline)) void ring(void) { bus_write32(0x1000, 1); }
static __attribute__((noinline)) void lamp(unsigned number)
{
    bus_write32(0x1000, 1u << number);
}
int main(void)
{
    bus_write32(0x1000, 0);
    ring();
    lamp(3);
    return 0;
}
"""


def test_every_access_has_its_line_and_function(tmp_path: Path) -> None:
    """The line is that of the call, also where it is the last of its function, or inlined."""
    compiled(tmp_path, LINES)
    bench = bench_of(tmp_path)
    recording = bench.run("python")
    assert [recording.place_of(number) for number in range(3)] == [
        "driver.c:9", "driver.c:2", "driver.c:5",
    ]  # fmt: skip
    told = [place.partition(", ")[2] for place in story(recording, bench, "levers.out.3@7")]
    assert told[0] == "lamp, driver.c:5: bus_write32(0x1000, 1u << number);"
    (told_inlined,) = story(recording, bench, "access.1")
    pc, _, rest = told_inlined.partition(", ")
    assert pc == f"pc {recording.accesses.pc[1]:#x}"
    assert rest.startswith("ring in main, driver.c:2: static inline")


def test_the_lines_are_those_of_the_library_whatever_firmware_the_bench_names(
    tmp_path: Path,
) -> None:
    """Addresses of a driver mean nothing in another file."""
    compiled(tmp_path, LINES)
    bench = bench_of(tmp_path, firmware="busbox.c")
    (told,) = story(bench.run("python"), bench, "access.2")
    assert told.endswith("lamp, driver.c:5: bus_write32(0x1000, 1u << number);")


def test_without_debug_information_an_access_has_its_address(tmp_path: Path) -> None:
    """The address is that of the call in the file, as a disassembler shows it."""
    compiled(tmp_path, LINES, flags=("-O1", "-fno-optimize-sibling-calls"))
    bench = bench_of(tmp_path)
    recording = bench.run("python")
    assert recording.accesses.line.tolist() == [-1, -1, -1]
    pcs = recording.accesses.pc.tolist()
    assert all(0 < pc < 0x10000 for pc in pcs)
    assert story(recording, bench, "access.2") == [f"pc {pcs[2]:#x}"]
    compiled(tmp_path, LINES)  # the same code, with lines
    assert bench_of(tmp_path).run("python").accesses.pc.tolist() == pcs


def test_a_source_file_in_a_folder_keeps_its_path(tmp_path: Path) -> None:
    """``parts/lamp.c`` is named from the folder of the compiler on; one outside by its name."""
    (tmp_path / "parts").mkdir()
    text = '#include "../busbox.h"\nvoid lamp(void) { bus_write32(0x1000, 1); }\n'
    (tmp_path / "parts" / "lamp.c").write_text(text, encoding="utf-8")
    compiled(tmp_path, "void lamp(void);\nint main(void) { lamp(); return 0; }\n", "parts/lamp.c")
    recording = bench_of(tmp_path).run("python")
    assert recording.place_of(0) == "parts/lamp.c:2"
    compiled(tmp_path, "void lamp(void);\nint main(void) { lamp(); return 0; }\n",
             str(tmp_path / "parts" / "lamp.c"))  # fmt: skip
    assert bench_of(tmp_path).run("python").place_of(0) == "lamp.c:2"


def test_an_access_from_another_library_has_no_line_of_this_one(tmp_path: Path) -> None:
    """Its address means nothing in the driver's file."""
    bell = '#include "busbox.h"\nvoid ring(void) { bus_write32(0x1000, 5); bus_error(); }\n'
    compiled(tmp_path, bell, bus=False, name="libbell.so")
    main = '#include "busbox.h"\nvoid ring(void);\nint main(void) { ring(); return 0; }\n'
    compiled(tmp_path, main, "-L.", "-lbell", f"-Wl,-rpath,{tmp_path}")
    found = bench_of(tmp_path).run("python").accesses
    assert (found.data.tolist(), found.line.tolist(), found.pc.tolist()) == ([5], [-1], [-1])


COUNTING = """
#include "busbox.h"
static unsigned count;
void shift(void)
{
    bus_write32(0x1000, ++count);
    bus_idle(30);
    bus_write32(0x1000, ++count);
}
"""


@pytest.mark.parametrize(("after", "words"), [("restart", [1, 1, 2]), ("continue", [1, 2])])
def test_a_reset_of_the_bench_starts_the_driver_anew(
    after: str, words: list[int], tmp_path: Path
) -> None:
    """With ``restart`` the function is called again, and its variables are new; else it goes on."""
    compiled(tmp_path, COUNTING)
    keys: dict[str, Any] = {"reset": [{"at": 10, "length": 2}], "after_reset": after}
    recording = bench_of(tmp_path, "driver.so:shift", **keys).run("python")
    assert recording.accesses.data.tolist() == words


def test_two_runs_of_one_system_are_identical(tmp_path: Path) -> None:
    """Variables of the library belong to one run."""
    compiled(tmp_path, COUNTING)
    bench = bench_of(tmp_path, "driver.so:shift")
    assert [bench.run("python").accesses.data.tolist() for _ in range(2)] == [[1, 2], [1, 2]]


def test_a_driver_that_never_ends_is_ended_with_the_run(tmp_path: Path) -> None:
    """``until`` ends a run whose driver polls for ever; no process is left (tests/conftest.py)."""
    source = '#include "busbox.h"\nint main(void) { for (;;) bus_read32(0x1010); }\n'
    compiled(tmp_path, source)
    recording = bench_of(tmp_path).run("python", until="100 us")
    assert recording.ended == "until"
    assert len(recording.accesses) == 50


def test_a_driver_that_does_nothing_is_no_step(tmp_path: Path) -> None:
    """The run is over in cycle 0 (rule 19), and the process with it."""
    recording = run(tmp_path, "int main(void) { return 3; }\n")
    assert (recording.ended, recording.cycles, len(recording.accesses)) == ("done", 1, 0)


def test_the_functions_of_a_driver_come_before_those_of_the_process(tmp_path: Path) -> None:
    """A driver may call its functions like those of the C library: its own ones count."""
    source = """
    #include "busbox.h"
    __attribute__((noinline)) void write(int lamp) { bus_write32(0x1000, 1u << lamp); }
    __attribute__((noinline)) void Py_Initialize(void) { write(5); }
    int main(void) { Py_Initialize(); return 0; }
    """
    if not hasattr(os, "RTLD_DEEPBIND"):
        pytest.skip("the system has no such order of lookup, or needs none")
    assert run(tmp_path, source).accesses.data.tolist() == [0x20]


def test_a_recording_carries_library_and_sources(tmp_path: Path) -> None:
    """Without the folder, it is judged, explained to the line, and played again."""
    cabin, kept = tmp_path / "cabin", tmp_path / "day.recording.npz"
    cabin.mkdir()
    compiled(cabin, LINES)
    bench_of(cabin).run("python").save(kept)
    shutil.rmtree(cabin)
    recording = Recording.load(kept)
    assert recording.carried is not None
    assert {"driver.so", "driver.c"} <= {Path(name).name for name in recording.carried.files}
    assert judge(recording).findings == ()
    with opened(recording, to_replay=True) as system:
        (told,) = [
            part.place for part in Stories(system, recording).tell("access.2").parts if part.place
        ]
        assert told.endswith("lamp, driver.c:5: bus_write32(0x1000, 1u << number);")
        from busbox.engines import engine_class
        from busbox.run.loop import Replay

        again = Replay(system, engine_class("python")).run()
    assert accesses_of(again) == accesses_of(recording)


def test_a_library_with_an_absolute_path_is_carried_with_its_sources(tmp_path: Path) -> None:
    """Library and sources stand beside one another again when the recording is opened."""
    elsewhere, cabin = tmp_path / "elsewhere", tmp_path / "cabin"
    elsewhere.mkdir()
    cabin.mkdir()
    library = compiled(elsewhere, LINES)
    recording = bench_of(cabin, f"{library}:main").run("python")
    shutil.rmtree(elsewhere)
    with opened(recording) as system:
        (part,) = [one for one in Stories(system, recording).tell("access.2").parts if one.place]
    assert part.facts["source"] == "bus_write32(0x1000, 1u << number);"


def test_other_traffic_may_be_a_driver(tmp_path: Path) -> None:
    """It is played instead of the bench's, and has no idle cycles."""
    library = compiled(tmp_path, MIXED)
    (tmp_path / "empty.steps").write_text("mark nothing\n", encoding="utf-8")
    bench = bench_of(tmp_path, "empty.steps")
    recording = bench.run("python", traffic=f"{library}:main")
    assert recording.accesses.start.tolist()[:2] == [1, 3]


def mistakes_of(folder: Path, traffic: object, **keys: Any) -> list[str]:
    """Return what is wrong with a bench."""
    with pytest.raises(InputError) as raised:
        bench_of(folder, traffic, **keys).system()
    return [str(mistake) for mistake in raised.value.mistakes]


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ({"idle": -1}, "traffic.idle: must be a whole number, 0 or more, not -1"),
        ({"idle": True}, "traffic.idle: must be a whole number, 0 or more, not true"),
        ({"idle": 1 << 32}, "traffic.idle: must be a whole number, 0 or more, not 4294967296"),
        (
            {"patience": 0},
            "traffic.patience: must be a number above 0, and at most 86,400, not 0",
        ),
        (
            {"patience": "1 s"},
            "traffic.patience: must be a number above 0, and at most 86,400, not '1 s'",
        ),
        (
            {"patience": float("nan")},
            "traffic.patience: must be a number above 0, and at most 86,400, not nan",
        ),
        (
            {"file": "driver.so"},
            "traffic.file: must name the function too, such as 'driver.so:main', not 'driver.so'",
        ),
        (
            {"file": "driver.so:"},
            "traffic.file: must name a function of C behind the colon, such as 'main', not ''",
        ),
        (
            {"file": "driver.so:ring\0"},
            "traffic.file: must name a function of C behind the colon, such as 'main', not 'ring\\x00'",
        ),
        (
            {"format": "csv"},
            "traffic.file: format and at are not for a driver in C, such as 'driver.so:main'",
        ),
        (
            {"at": 4},
            "traffic.file: format and at are not for a driver in C, such as 'driver.so:main'",
        ),
        (
            {"file": "day.steps", "idle": 3},
            "traffic.file: idle and patience are for a driver in C, and 'day.steps' is none",
        ),
        (
            {"file": "drver.so:main"},
            "traffic.file: there is no file 'drver.so'; did you mean 'driver.so'?",
        ),
        (
            {"file": "unmade/driver.so:main"},
            "traffic.file: there is no file 'unmade/driver.so'; a Makefile in that folder may compile "
            "it",
        ),
        ({"file": "unmade:driver.DLL:main"}, "traffic.file: there is no file 'unmade:driver.DLL'"),
        (
            {"file": "unmade/x.DYLIB:main"},
            "traffic.file: there is no file 'unmade/x.DYLIB'; a Makefile in that folder may compile it",
        ),
    ],
    ids=str,
)
def test_a_bench_says_what_is_wrong_with_its_driver(
    table: dict[str, Any], told: str, tmp_path: Path
) -> None:
    """Each row: one mistake, before anything runs."""
    (tmp_path / "driver.so").write_bytes(b"")
    (tmp_path / "unmade").mkdir()
    (tmp_path / "unmade" / "Makefile").write_text("", encoding="utf-8")
    found = mistakes_of(tmp_path, {"file": "driver.so:main"} | table)
    assert found == [told]
