"""A terminal at a serial port while a run goes on."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox import Bench, Recording
from busbox.basics.errors import InputError
from busbox.run.live import LOOKS, Live
from tests.cli.saying import say
from tests.programs import FOLDER, bench_keys

#: Columns of accesses that say what a run was.
SAME = ("start", "end", "address", "write", "lanes", "data", "pc")
MEMORY = [{"at": 0, "size": 0x4000}, {"at": 0x2000_0000, "size": 0x4000}]


class Script:
    """A far end with a script: bytes by the number of the look; None ends the run."""

    def __init__(self, script: dict[int, bytes | None]) -> None:
        self.script, self.shown, self.looks = script, b"", 0
        self.ended = self.closed = False

    def show(self, data: bytes) -> None:
        """Keep what was sent."""
        self.shown += data

    def typed(self, wait: float) -> bytes:
        """Return what the script has for this look."""
        assert wait == 0
        found = self.script.get(self.looks, b"")
        self.looks += 1
        self.ended = self.ended or found is None
        return found or b""


def still(slot: str, far: Script) -> Live:
    """Return a terminal with a clock that stands still: it looks by simulated time only."""
    return Live(slot, far, clock=lambda: 0.0)


def echo(**keys: Any) -> Bench:
    """Return the bench of the program echo, at a rate so low that looks come between bits."""
    base = bench_keys("echo.elf", memory=MEMORY)
    base["slot"]["telegraph"]["divisor"] = 16_000
    return Bench({**base, "settle": "1 s", **keys}, folder=FOLDER, name="echo")


def assert_same(seen: Recording, expected: Recording) -> None:
    """Assert that two runs are the same, in accesses, lines, texts and end."""
    for name in SAME:
        assert (seen.accesses[name] == expected.accesses[name]).all(), name
    assert seen.texts == expected.texts
    assert (seen.cycles, seen.ended) == (expected.cycles, expected.ended)
    for pin in expected.lines:
        for one, other in zip(seen.edges(pin), expected.edges(pin), strict=True):
            assert (one == other).all(), pin


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    script=st.dictionaries(
        st.integers(0, 24), st.text('abc \n"\\\x7f\xe9', min_size=1, max_size=3), max_size=4
    )
)
def test_what_was_typed_gives_the_same_run_as_input(script: dict[int, str]) -> None:
    """Any bytes at any time: as [[input]] tables, written as TOML, they give every fact again."""
    typed: dict[int, bytes | None] = {at: text.encode("latin-1") for at, text in script.items()}
    far = Script({**typed, 26: None})
    live = still("telegraph", far)
    recording = echo().run("llvm", live=live)
    assert recording.ended == "until"
    assert recording.cycles == 26 * 16_000_000 // LOOKS + 1
    assert far.shown == recording.texts["telegraph"].encode("latin-1")
    assert b"".join(one.data for one in live.inputs) == b"".join(
        text for _, text in sorted(typed.items()) if text
    )
    inputs = tomllib.loads(live.toml()).get("input", [])
    again = echo(**({"input": inputs} if inputs else {})).run("llvm", recording.cycles)
    assert_same(again, recording)
    assert_same(echo(input=live.tables()).run("llvm", recording.cycles), recording)


def test_typed_bytes_come_back_and_end_the_program() -> None:
    """One byte a look: hello, then its capital; after the q the run ends as any other."""
    far = Script({10: b"a", 14: b"b", 18: b"q"})
    recording = echo().run("llvm", live=still("telegraph", far))
    assert recording.ended == "done"
    assert far.shown == b"hello\nAB."
    assert recording.texts["telegraph"] == "hello\nAB."


def test_a_recording_carries_what_was_typed(tmp_path: Path) -> None:
    """Replayed from the file, with its bench: the same run."""
    from busbox.bench.opening import opened
    from busbox.engines import engine_class
    from busbox.run.loop import replay

    recording = echo().run("llvm", live=still("telegraph", Script({10: b"a", 14: b"q"})))
    recording.save(tmp_path / "echo.recording.npz")
    saved = Recording.load(tmp_path / "echo.recording.npz")
    with opened(saved, to_replay=True) as system:
        assert_same(replay(system, engine_class("llvm")), recording)


def test_a_sleeping_core_is_woken_by_what_is_typed(tmp_path: Path) -> None:
    """wfi with the interrupt of a received byte: the run does not end while the terminal is open."""
    from tests.core import assembler as asm
    from tests.core.assembler import Assembly

    program = Assembly(0)
    program.words(*asm.li(5, 0x4000_1000), asm.addi(6, 0, 2), asm.sw(6, 5, 0xC))
    program.words(*asm.li(7, 1 << 11), asm.csrrw(0, 0x304, 7), asm.WFI, asm.lw(8, 5, 0), asm.EBREAK)
    (tmp_path / "sleep.bin").write_bytes(program.image())
    keys = bench_keys("sleep.bin", memory=MEMORY, interrupt="telegraph.interrupt")
    keys["traffic"]["at"] = 0
    bench = Bench(keys, folder=tmp_path, name="sleep")
    assert bench.run("llvm").cycles < 16_000_000 // LOOKS
    recording = bench.run("llvm", live=still("telegraph", Script({7: b"!"})))
    assert recording.ended == "done"
    assert recording.accesses.data[-1] == ord("!")
    assert recording.accesses.start[-1] > 7 * 16_000_000 // LOOKS


@pytest.mark.parametrize(
    ("slot", "keys", "told"),
    [
        ("levers", {}, "live: there is no slot 'levers' with a serial port and a pin rx (known: "
                       "telegraph)"),
        ("telegrap", {}, "live: there is no slot 'telegrap' with a serial port and a pin rx; did you "
                         "mean 'telegraph'? (known: telegraph)"),
        ("telegraph", {"input": [{"at": 5, "pin": "telegraph.rx", "bytes": "a"}]},
         "live: telegraph.rx is driven already, by an input, a wire, a reply or a driver of the bench"),
    ],
)  # fmt: skip
def test_a_port_that_cannot_be_used_is_told(slot: str, keys: dict[str, Any], told: str) -> None:
    """No serial port, no such slot, or a pin that something else drives."""
    with pytest.raises(InputError) as error:
        echo(**keys).run("llvm", live=still(slot, Script({})))
    assert str(error.value) == told


# By the verb.


posix = pytest.mark.skipif(os.name != "posix", reason="needs terminals of POSIX")
BENCH = f"""\
clock = "16 MHz"
[slot.telegraph]
model = "uart"
base = 0x4000_1000
size = 0x1000
[traffic]
file = "{(FOLDER / "echo.elf").as_posix()}"
[core]
isa = "rv32im"
ebreak = "end"
[[core.memory]]
at = 0
size = 0x4000
[[core.memory]]
at = 0x2000_0000
size = 0x4000
"""


def run_live(folder: Path, *words: str, **files: Any) -> subprocess.Popen[bytes]:
    """Start ``busbox run`` of the program echo with options."""
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    return subprocess.Popen(
        [sys.executable, "-m", "busbox", "run", "bench.toml", "--brief", *words],
        cwd=folder, **files,
    )  # fmt: skip


def read_until(file: int, wanted: bytes) -> bytes:
    """Return what can be read, up to some bytes; it fails after a minute."""
    seen, late = b"", time.monotonic() + 60
    while wanted not in seen:
        assert time.monotonic() < late, seen
        if select.select([file], [], [], 1)[0]:
            try:
                seen += os.read(file, 4096)
            except OSError:  # the other side of a terminal is closed
                break
    return seen


@posix
@pytest.mark.parametrize("how", ["q", "ctrl-d", "ctrl-c"])
def test_on_a_terminal_keys_come_at_once_and_it_is_restored(how: str, tmp_path: Path) -> None:
    """hello, a key and its capital; then q, Ctrl-D or Ctrl-C: the report, the terminal as before."""
    import termios

    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    process = run_live(
        tmp_path, "--live", "telegraph", "--pace", "1", "--typed", "typed.toml",
        stdin=slave, stdout=slave, stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        read_until(master, b"hello")
        os.write(master, b"x")
        read_until(master, b"X")
        if how == "ctrl-c":
            process.send_signal(signal.SIGINT)
        else:
            os.write(master, b"q" if how == "q" else b"\x04")
        told = read_until(master, b"Expectations")
        assert process.wait(60) == 0
        assert b"cycles at 16 MHz" in told
        assert termios.tcgetattr(slave) == before
    finally:
        process.kill()
        process.communicate()
        os.close(master)
        os.close(slave)
    tables = tomllib.loads((tmp_path / "typed.toml").read_text(encoding="utf-8"))["input"]
    assert "".join(one.get("bytes", "") for one in tables) == ("xq" if how == "q" else "x")
    assert [one.get("level") for one in tables] == ([None, None] if how == "q" else [None, 1])


@posix
def test_a_pseudo_terminal_is_named_and_used(tmp_path: Path) -> None:
    """Its name comes on stderr; what is written there reaches the program, whose answer comes back."""
    process = run_live(
        tmp_path, "--live", "telegraph=pty", "--pace", "1",
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stderr is not None
    try:
        name = process.stderr.readline().decode().split()[-1]
        far = os.open(name, os.O_RDWR | os.O_NOCTTY)
        try:
            assert b"hello\n" in read_until(far, b"\n")
            os.write(far, b"z")
            assert b"Z" in read_until(far, b"Z")
            os.write(far, b"q")
            out, _ = process.communicate(timeout=60)
        finally:
            os.close(far)
        assert process.returncode == 0
        assert b'bytes = "z"' in out
        assert b'bytes = "q"' in out
    finally:
        process.kill()
        process.communicate()


@posix
def test_a_pipe_is_a_terminal_too(tmp_path: Path) -> None:
    """Its end is the end of the input: the run goes on to its own."""
    process = run_live(
        tmp_path, "--live", "telegraph", "--until", "5 ms", stdin=subprocess.PIPE,
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    out, err = process.communicate(b"a", timeout=60)
    assert (process.returncode, err) == (0, b"")
    assert out.startswith(b"hello\n")
    assert b'at = 0\npin = "telegraph.rx"\nbytes = "a"\nrate = 115108\n' in out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--pace", "1"), "busbox: --pace: needs --live\n"),
        (("--live", "telegraph", "--json"), "busbox: --live: cannot be combined with --json\n"),
        (("--live", "telegraph", "--check-engines"),
         "busbox: --live: cannot be combined with --check-engines\n"),
        (("--live", "telegraph=tty"),
         "busbox: --live: must be SLOT or SLOT=pty, not 'telegraph=tty'\n"),
        (("--live", "telegraph", "--pace", "fast"),
         "busbox: --pace: must be a number from 0.000001 to 1000000, not 'fast'\n"),
        (("--live", "telegraph", "--typed", "nowhere/a.toml"),
         "busbox: --typed: there is no folder 'nowhere'\n"),
    ],
)  # fmt: skip
def test_options_that_cannot_be_used_are_told(
    words: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before anything is run."""
    assert say(capsys, "run", "first_light", *words, code=2) == told
