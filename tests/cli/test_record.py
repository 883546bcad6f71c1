"""``busbox record``."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest

from busbox import Recording, load_bench
from busbox.bench.find import packaged_benches
from busbox.formats.files import read_traffic
from tests.cli.saying import say
from tests.programs import FOLDER, bench_of
from tests.spoiled.cabin import Spoiled, assert_told

pytestmark = pytest.mark.usefixtures("files_outside")

#: What traffic that was recorded gives again, exactly.
SAME = ("start", "end", "address", "write", "lanes", "data", "pc")
CORE = {"interrupt": "levers.interrupt", "clocks": {"base": 2, "divide": 9}}
PULLS = [
    {"at": at, "pin": "levers.in.4", "level": level}
    for at, level in ((400, 1), (900, 0), (1301, 1))
]


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def assert_same(seen: Recording, expected: Recording) -> None:
    """Assert that two recordings have the same accesses, and that every word read is expected."""
    for name in SAME:
        assert np.array_equal(seen.accesses[name], expected.accesses[name]), name
    reads = ~seen.accesses.write
    assert (seen.accesses.expected[reads] == seen.accesses.data[reads]).all()


def test_the_program_of_the_cabin_gives_the_traffic_that_a_core_was_seen_to_do(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Byte for byte: the 58,479 rows of the file that was recorded from a core in hardware."""
    told = say(capsys, "record", "signal_cabin", "--engine", "llvm", "-o", "played.csv.gz")
    assert told.splitlines() == [
        "played.csv.gz: 58,479 accesses (57,849 reads and 630 writes)",
        "  bench    signal_cabin",
        f"  traffic  {told.splitlines()[2].split()[1]}",
        "  cycles   149 to 841,137 (9.312 us to 52.57 ms)",
        "  columns  wait, op, word address, data, lanes, pc",
    ]
    seen = packaged_benches()["signal_cabin_recorded"].with_name("signal_cabin.csv.gz")
    played = gzip.decompress(Path("played.csv.gz").read_bytes())
    assert played == gzip.decompress(seen.read_bytes())


@pytest.mark.parametrize("file", ["played.csv", "played.steps"])
def test_what_was_recorded_gives_the_same_accesses_on_the_same_bench(
    file: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A core that is interrupted in the middle of its calls: every cycle, word, lane and pc again."""
    write_bench()
    say(capsys, "record", "ring.toml", "-o", file)
    program = bench_of("ring.elf", core=CORE, input=PULLS).run()
    assert program.accesses.pc.min() >= 0
    assert {0x10C, 0x148} <= {*program.accesses.pc.tolist()}  # of the handler
    again = load_bench("ring.toml").run(traffic=file)
    assert_same(again, program)
    assert again.findings == ()


def write_bench() -> None:
    """Write the bench of the program ``ring`` to ring.toml."""
    Path("ring.toml").write_text(
        'clock = "16 MHz"\n'
        '[slot.levers]\nmodel = "gpio"\nbase = 0x4000_0000\nsize = 0x1000\n'
        f'[traffic]\nfile = "{(FOLDER / "ring.elf").as_posix()}"\n'
        '[core]\nisa = "rv32im"\nebreak = "end"\ninterrupt = "levers.interrupt"\n'
        "clocks = { base = 2, divide = 9 }\n"
        + "".join(f'[[input]]\nat = {one["at"]}\npin = "{one["pin"]}"\nlevel = {one["level"]}\n'
                  for one in PULLS),
        encoding="utf-8",
    )  # fmt: skip


def test_an_access_that_has_not_ended_is_left_out_and_said_to_be(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The run ends between start and end of the second access: only the first is in the file."""
    told = say(capsys, "record", "signal_cabin", "--until", "185", "-o", "played.steps")
    assert told.startswith("played.steps: 1 access (0 reads and 1 write)\n")
    assert told.endswith(
        "note: The access to 0x40001004 that began in cycle 184 is left out: it had not\n"
        "  ended when the run did.\n"
    ), told
    assert len(list(read_traffic(Path("played.steps")))) == 1


@pytest.mark.parametrize("file", ["played.csv", "played.steps"])
def test_marks_are_kept(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a bench without a core, such as first_light."""
    say(capsys, "record", "first_light", "-o", file)
    marks = load_bench("first_light").run().marks
    assert len(marks) == 3
    assert load_bench("first_light").run(traffic=file).marks == marks


def test_values_and_other_traffic_count(capsys: pytest.CaptureFixture[str]) -> None:
    """With ``--set`` and ``--traffic`` the file holds what that bench does."""
    Path("one.steps").write_text("write levers.OUT 1 +3\nread levers.OUT\n", encoding="utf-8")
    say(
        capsys, "record", "first_light", "--traffic", "one.steps", "-o", "played.csv",
        "--set", "slot.levers.base=0x50000000",
    )  # fmt: skip
    assert Path("played.csv").read_text(encoding="utf-8").splitlines() == [
        "wait,op,address,data,lanes,pc",
        "3,write,0x50000000,0x00000001,1111,",
        "0,read,0x50000000,0x00000001,1111,",
    ]


CASES = (
    Spoiled(
        "The file must be named.",
        "busbox: --output: must be given, such as --output traffic.csv\n",
        args=("record", "bench.toml"),
    ),
    Spoiled(
        "Its suffix must be that of a format.",
        "busbox: --output: must end in .steps or .csv (traffic may have .gz after it), not "
        "'played.txt'\n",
        args=("record", "bench.toml", "-o", "played.txt"),
    ),
    Spoiled(
        "Its folder must exist, before the run.",
        "busbox: --output: there is no folder 'nowhere'\n",
        args=("record", "bench.toml", "-o", "nowhere/played.csv"),
    ),
    Spoiled(
        "A recording is no bench.",
        "busbox: day.recording.npz: is a recording; this verb takes a bench only\n",
        files={"day.recording.npz": b"PK"},
        args=("record", "day.recording.npz", "-o", "played.csv"),
    ),
    Spoiled(
        "A reset that starts the traffic again cuts it in two.",
        "busbox: bench.toml: the bench's reset in cycle 1 restarted the traffic (after_reset = "
        '"restart"): the accesses before and after it are not one sequence of steps\n',
        edits=(("at = 2000", "at = 1"),),
        args=("record", "bench.toml", "-o", "played.steps"),
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
