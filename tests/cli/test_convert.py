"""``busbox convert``."""

from __future__ import annotations

import gzip
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings

from busbox import Bench, Recording, load_bench
from busbox.basics.errors import InputError
from busbox.basics.units import Span
from busbox.cpu.steps import AccessStep, Mark, Pause, Poll, ResetStep, Step
from busbox.formats.files import read_traffic, write_traffic
from busbox.recording.as_steps import steps_of
from tests.against_naive import bench_of
from tests.cli.saying import say
from tests.plans import Plan, plans
from tests.spoiled.cabin import Spoiled, assert_told

#: Columns that a replay of a converted recording must give again.
SAME = (
    "start", "end", "address", "write", "lanes", "data", "terminator", "slot", "pc",
)  # fmt: skip


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def assert_same(seen: Recording, expected: Recording) -> None:
    """Assert that two recordings have the same accesses, and that every word read is expected."""
    for name in SAME:
        assert np.array_equal(seen.accesses[name], expected.accesses[name]), name
    reads = ~seen.accesses.write & (seen.accesses.terminator == 0)
    assert (seen.accesses.expected[reads] == seen.accesses.data[reads]).all()


def through_files(recording: Recording, bench: Bench, folder: Path) -> list[Step]:
    """Return the steps of a recording, after they have been in a file."""
    path = folder / "played.steps"
    write_traffic(path, steps_of(recording, bench.system(traffic=[])))
    return list(read_traffic(path))


# Recordings.


@pytest.mark.parametrize("name", ["first_light", "interrupted", "word_lamps"])
def test_a_recording_replays_as_it_was(
    name: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """By the verb: run, convert, run the result: same accesses, marks and text, nothing found."""
    say(capsys, "run", name, "--out", "out")
    for words in ((), ("--bench", name, "--names")):
        say(capsys, "convert", f"out/{name}.recording.npz", "again.steps", *words)
        before = Recording.load(tmp_path / "out" / f"{name}.recording.npz")
        again = load_bench(name).run(traffic="again.steps")
        assert_same(again, before)
        assert again.marks == before.marks
        assert again.texts == before.texts
        assert again.findings == ()
    say(capsys, "convert", f"out/{name}.recording.npz", "again.csv.gz")
    assert_same(load_bench(name).run(traffic="again.csv.gz"), before)


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(plan=plans(waiting=False))
def test_any_recording_replays_as_it_was(plan: Plan, tmp_path: Path) -> None:
    """Any traffic, with waits, holds, errors, hangs and resets that the CPU goes on after."""
    plan = plan | {"after_reset": "continue"}
    bench = bench_of(plan)
    recording = bench.run("reference", plan["until"])
    again = bench.run("reference", plan["until"], traffic=through_files(recording, bench, tmp_path))
    assert_same(again, recording)


@settings(
    max_examples=20,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(plan=plans(waiting=False))
def test_a_reset_that_began_the_traffic_again_is_refused(plan: Plan) -> None:
    """Whatever the traffic: what was played twice is no single traffic."""
    assume(plan["steps"])
    bench = bench_of(plan | {"after_reset": "restart", "resets": [{"at": 1, "length": 1}]})
    recording = bench.run("reference")
    assert recording.resets == ((1, 1),)
    with pytest.raises(InputError, match="restarted the traffic"):
        list(steps_of(recording, bench.system(traffic=[])))


def _bench(resets: list[dict[str, int]], traffic: Any) -> Bench:
    return Bench(
        {
            "clock": "1 MHz",
            "after_reset": "continue",
            "slot": {"ram": {"model": "memory", "base": 0, "size": 16}},
            "reset": resets,
            "traffic": traffic,
        }
    )


def test_waits_are_distances_from_the_semantics_page() -> None:
    """Accesses in 3..4, 5..6 and, behind a pause, a mark and a pc, 17..18; F is 1, 5, 7."""
    traffic = [
        AccessStep(True, 0, 7, 0b0011, 2),
        AccessStep(False, 0),
        Pause(Span(cycles=8)),
        Mark("then"),
        AccessStep(False, 4, 1, 15, 2, 0x1F4),
    ]
    steps = list(steps_of(_bench([], traffic).run(), None))
    assert steps == [
        AccessStep(True, 0, 7, 0b0011, 2),
        AccessStep(False, 0, 7),
        Pause(Span(cycles=8)),
        Mark("then"),
        AccessStep(False, 4, 0, 15, 2, 0x1F4),
    ]
    marks_left_out = list(steps_of(_bench([], traffic).run(), None, marks=False))
    assert marks_left_out == [*steps[:2], AccessStep(False, 4, 0, 15, 10, 0x1F4)]


def test_resets_of_the_bench_come_by_themselves_and_those_of_the_cpu_are_steps() -> None:
    """A reset in 20..22 cuts a pause off; the CPU's, 4 idle cycles after it, is a step."""
    traffic = [
        AccessStep(True, 0, 7),
        Pause(Span(cycles=99)),
        ResetStep(4),
        AccessStep(False, 0, None, 15, 1),
    ]
    bench = _bench([{"at": 20, "length": 3}], traffic)
    recording = bench.run()
    assert recording.resets == ((20, 3), (28, 1))
    steps = list(steps_of(recording, bench.system()))
    assert steps == [
        AccessStep(True, 0, 7),
        Pause(Span(cycles=18)),  # F = 3, so it runs in the rows 3 to 20
        ResetStep(4),  # F = 24
        AccessStep(False, 0, 7, 15, 1),
    ]
    assert_same(bench.run(traffic=steps), recording)


def test_an_access_that_a_reset_cut_off_is_a_step_and_is_cut_off_again() -> None:
    """The reset in the row of its end: recorded once, played once, no pause is needed."""
    bench = _bench([{"at": 2, "length": 1}], [AccessStep(False, 0), AccessStep(True, 4, 1)])
    recording = bench.run()
    assert recording.accesses.terminators == ["reset", "ack"]
    steps = list(steps_of(recording, bench.system()))
    assert steps == [AccessStep(False, 0), AccessStep(True, 4, 1)]
    assert_same(bench.run(traffic=steps), recording)


# Formats, names and numbers.


def test_formats_are_converted_by_suffix(capsys: pytest.CaptureFixture[str]) -> None:
    """Text to packed CSV and back to text: the same steps, comments aside."""
    Path("a.steps").write_text("write 0x4 1 +3  # one\nread 0x8 = 2 lanes 0001\n", encoding="utf-8")
    assert say(capsys, "convert", "a.steps", "b.csv.gz") == "b.csv.gz: 2 steps\n"
    assert say(capsys, "convert", "b.csv.gz", "c.steps") == "c.steps: 2 steps\n"
    assert gzip.decompress(Path("b.csv.gz").read_bytes()).decode("ascii").splitlines() == [
        "wait,op,address,data,lanes,pc",
        "3,write,0x00000004,0x00000001,1111,",
        "0,read,0x00000008,0x00000002,0001,",
    ]
    assert Path("c.steps").read_text(encoding="utf-8").splitlines() == [
        "write  0x00000004 0x1 +3",
        "read   0x00000008 = 0x2 lanes 0001",
    ]


NUMBERS = """\
mark   by number
write  0x40000004 0x1
poll   0x40001004 & 0x1 == 0x1 every 12
handler pull on levers.interrupt
  write  0x40000020 0xf0
end
write  0x44000104 0x2
read   0x44000014
read   0x50000000
"""
NAMES = """\
mark   by number
write  levers.SET 0x1
poll   telegraph.STATUS & 0x1 == 0x1 every 12
handler pull on levers.interrupt
  write  levers.EVENTS 0xf0
end
write  lamps.COLOUR.1 0x2
read   0x44000014
read   0x50000000
"""


def test_names_and_numbers_are_looked_up_in_the_map(capsys: pytest.CaptureFixture[str]) -> None:
    """Registers in steps, polls and handlers; a hole and an address of no slot stay numbers."""
    Path("a.steps").write_text(NUMBERS, encoding="utf-8")
    words = ("--bench", "first_light")
    assert say(capsys, "convert", "a.steps", "b.steps", *words, "--names") == "b.steps: 7 steps\n"
    assert Path("b.steps").read_text(encoding="utf-8") == NAMES
    say(capsys, "convert", "b.steps", "c.steps", *words, "--numbers")
    assert Path("c.steps").read_text(encoding="utf-8") == NUMBERS
    say(capsys, "convert", "b.steps", "d.steps", *words, "--names")
    assert Path("d.steps").read_text(encoding="utf-8") == NAMES


def test_an_image_keeps_its_number(capsys: pytest.CaptureFixture[str]) -> None:
    """A name would move the access to the base."""
    Path("bench.toml").write_text(
        'clock = "1 MHz"\n[slot.levers]\nmodel = "gpio"\nbase = 0x4000_0000\nsize = 0x1000\n'
        'compare = "31..24"\n',
        encoding="utf-8",
    )
    Path("a.steps").write_text("write 0x40000000 1\nwrite 0x40001000 1\n", encoding="utf-8")
    say(capsys, "convert", "a.steps", "b.steps", "--bench", "bench.toml", "--names")
    assert Path("b.steps").read_text(encoding="utf-8") == (
        "write  levers.OUT 0x1\nwrite  0x40001000 0x1\n"
    )


FORMAT = """\
from busbox.formats.contract import Format

def write(steps):
    for step in steps:
        yield type(step).__name__

KINDS = Format.of_lines("Kinds of steps.", None, write)
"""


def test_marks_that_a_format_cannot_hold_are_said_to_be_left_out(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Of a recording, in a format that is not known to hold marks; CSV and steps have them."""
    say(capsys, "run", "first_light", "--until", "50 us", "--out", "out")
    Path("kinds.py").write_text(FORMAT, encoding="utf-8")
    words = ("convert", "out/first_light.recording.npz")
    told = say(capsys, *words, "a.kinds", "--to", "kinds.py:KINDS")
    assert told.endswith(" steps; 2 marks left out\n")
    kept = []
    for name in ("a.csv", "a.steps"):
        assert "left out" not in say(capsys, *words, name)
        kept.append(list(read_traffic(Path(name))))
    assert kept[0] == kept[1]
    assert sum(isinstance(step, Mark) for step in kept[0]) == 2


# What cannot be used.


CASES = (
    Spoiled(
        "The formats must be known.",
        "busbox: IN: must end in .steps, .csv, .vcd or .recording.npz (traffic may have .gz after it), "
        "not 'day.txt'\n"
        "busbox: OUT: must end in .steps or .csv (traffic may have .gz after it), not "
        "'day.recording.npz'\n",
        args=("convert", "day.txt", "day.recording.npz"),
    ),
    Spoiled(
        "A step that the format cannot hold is refused by its number.",
        "busbox: day.csv: step 2: CSV cannot hold a handler\n",
        files={"day.steps": "write 4 1\nhandler a on levers.interrupt\nend\n"},
        args=("convert", "day.steps", "day.csv"),
    ),
    Spoiled(
        "Names need a bench.",
        "busbox: --bench: must be given, to look names up\n",
        args=("convert", "day.steps", "new.steps", "--names"),
    ),
    Spoiled(
        "Names and numbers exclude each other.",
        "busbox: --names: cannot be combined with --numbers\n",
        args=("convert", "day.steps", "new.steps", "--names", "--numbers"),
    ),
    Spoiled(
        "Every name must be in the map.",
        "busbox: day.steps:1: levers has no register 'OTU'; did you mean 'OUT'?\n"
        "busbox: day.steps:3: there is no slot 'lever'; did you mean 'levers'?\n",
        files={
            "day.steps": "write levers.OTU 1\nhandler a on levers.interrupt\nread lever.IN\nend\n"
        },
        args=("convert", "day.steps", "new.steps", "--numbers", "--bench", "bench.toml"),
    ),
    Spoiled(
        "Traffic must be traffic.",
        "busbox: day.steps:1: a line must begin with A VERB, not 'wriet'; did you mean 'write'?\n",
        files={"day.steps": "wriet 4 1\n"},
        args=("convert", "day.steps", "new.steps"),
    ),
    Spoiled(
        "Traffic must exist.",
        "busbox: there is no file 'dya.steps'; did you mean 'day.steps'?\n",
        args=("convert", "dya.steps", "new.steps"),
    ),
    Spoiled(
        "A recording must be one.",
        "busbox: day.recording.npz: is not a Busbox recording\n",
        files={"day.recording.npz": b"PK"},
        args=("convert", "day.recording.npz", "new.steps"),
    ),
    Spoiled(
        "A bench must be one.",
        "busbox: day.steps:1: is not valid TOML: a key must be followed by = and a value\n",
        args=("convert", "day.steps", "new.steps", "--bench", "day.steps"),
    ),
    Spoiled(
        "The result's folder must exist.",
        "busbox: nowhere/new.steps: cannot be written: No such file or directory\n",
        args=("convert", "day.steps", "nowhere/new.steps"),
    ),
    Spoiled(
        "The result must be named.",
        "busbox: convert: OUT must be given\n",
        args=("convert", "day.steps"),
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)


def test_a_recording_with_a_reset_needs_its_bench(capsys: pytest.CaptureFixture[str]) -> None:
    """Without it nobody knows whose reset it was; with it, one that starts the traffic is refused."""
    text = (
        'clock = "1 MHz"\n[slot.ram]\nmodel = "memory"\nbase = 0\nsize = 16\n'
        '[traffic]\nfile = "a.steps"\n[[reset]]\nat = 2\n'
    )
    Path("bench.toml").write_text(text, encoding="utf-8")
    Path("a.steps").write_text("write 0 1\nread 0\n", encoding="utf-8")
    say(capsys, "run", "bench.toml", "--out", ".")
    (file,) = [str(path) for path in Path().glob("*.recording.npz")]
    assert say(capsys, "convert", file, "b.steps", code=2) == (
        "busbox: --bench: must be given: the recording has a reset in cycle 2, and the bench says "
        "whether it causes that reset\n"
    )
    assert say(capsys, "convert", file, "b.steps", "--bench", "bench.toml", code=2) == (
        f"busbox: {file}: the bench's reset in cycle 2 restarted the traffic (after_reset = "
        '"restart"): the accesses before and after it are not one sequence of steps\n'
    )
    assert not Path("b.steps").exists()


RECORDED = """wait,op,address,data,lanes,pc
2,read,0x40001004,0x2,1111,0x10
5,read,0x40001004,0x2,1111,0x10
5,read,0x40001004,0x3,1111,0x10
1,write,0x40001000,0x41,1111,0x14
2,read,0x40000010,0x0,1111,0x20
4,read,0x40000010,0x1,1111,0x20
1,write,0x40001000,0x42,1111,0x14
2,read,0x40000010,0x1,1111,0x20
4,read,0x40000010,0x0,1111,0x20
1,write,0x40001000,0x43,1111,0x14
"""


@pytest.mark.parametrize("suffix", ["steps", "csv"])
def test_loops_are_folded_and_told(suffix: str, capsys: pytest.CaptureFixture[str]) -> None:
    """--fold writes polls, names what was folded, and says why a loop was left."""
    Path("day.csv").write_text(RECORDED, encoding="utf-8")
    out = f"night.{suffix}"
    text = say(capsys, "convert", "day.csv", out, "--fold", "--bench", "signal_cabin")
    assert " ".join(text.split()) == (
        f"{out}: 8 steps "
        "folded poll of telegraph.STATUS at pc 0x10 & 0x1 == 0x1: 3 reads in 1 run, every 5 "
        "left levers.IN at pc 0x20: 4 reads in 2 runs; the words that ended a run share no bit "
        "that the others lack"
    )
    first, *others = read_traffic(Path(out))
    assert first == Poll(0x4000_1004, 1, 1, 5, wait=2, pc=0x10)
    assert others == list(read_traffic(Path("day.csv")))[3:]


def test_nothing_to_fold_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """Traffic without a repeated read stays as it is, and that is told."""
    Path("day.steps").write_text("write 0x40000000 1\n", encoding="utf-8")
    text = say(capsys, "convert", "day.steps", "night.steps", "--fold")
    assert text == "night.steps: 1 step\n  nothing to fold: no read is repeated\n"
    assert Path("night.steps").read_text(encoding="utf-8") == "write  0x40000000 0x1\n"
