"""``busbox run --live``: a terminal, a pseudo-terminal, a pipe; what was typed is kept."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from busbox.bench.bench import Bench
from tests.cli.saying import plain_environment, say
from tests.programs import FOLDER

pytestmark = pytest.mark.usefixtures("files_outside")

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
        cwd=folder, env=plain_environment(), **files,
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
        assert read_until(master, b"\n").endswith(b"hello\r\n")
        assert termios.tcgetattr(slave)[3] & termios.ISIG  # Ctrl-C is a signal
        os.write(master, b"x")
        read_until(master, b"X")
        if how == "ctrl-c":
            process.send_signal(signal.SIGINT)
        else:
            os.write(master, b"q" if how == "q" else b"\x04")
        told = read_until(master, b"Expectations")
        assert process.wait(60) == 0
        assert b"cycles at 16 MHz" in b" ".join(told.split())  # wrapped at a word
        assert termios.tcgetattr(slave) == before
    finally:
        process.kill()
        process.communicate()
        os.close(master)
        os.close(slave)
    tables = tomllib.loads((tmp_path / "typed.toml").read_text(encoding="utf-8"))["input"]
    assert "".join(one.get("bytes", "") for one in tables) == ("xq" if how == "q" else "x")
    assert [one.get("level") for one in tables] == ([None, None] if how == "q" else [None, 1])


@contextmanager
def pseudo_terminal(folder: Path) -> Iterator[tuple[subprocess.Popen[bytes], str, int]]:
    """Give a run at a pseudo-terminal, the name of that, and what is opened there."""
    process = run_live(
        folder, "--live", "telegraph=pty", "--pace", "1",
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stderr is not None
    try:
        name = process.stderr.readline().decode().split()[-1]
        far = os.open(name, os.O_RDWR | os.O_NOCTTY)
        try:
            yield process, name, far
        finally:
            os.close(far)
    finally:
        process.kill()
        process.communicate()


@posix
def test_a_pseudo_terminal_is_named_and_used(tmp_path: Path) -> None:
    """Its name comes on stderr; what is written there reaches the program, whose answer comes back."""
    with pseudo_terminal(tmp_path) as (process, _, far):
        assert b"hello\n" in read_until(far, b"\n")
        os.write(far, b"z")
        assert b"Z" in read_until(far, b"Z")
        os.write(far, b"q")
        out, _ = process.communicate(timeout=60)
        assert process.returncode == 0
        assert b'bytes = "z"' in out
        assert b'bytes = "q"' in out


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


def test_a_file_that_is_there_is_never_replaced(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was typed before is not lost; nothing is run."""
    before = tmp_path / "typed.toml"
    before.write_text("before", encoding="utf-8")
    told = say(capsys, "run", "first_light", "--live", "telegraph", "--typed", str(before), code=2)
    assert told == (
        "busbox: --typed: must be a new file, so that nothing typed before is lost, "
        f"not {str(before)!r}\n"
    )
    assert before.read_text(encoding="utf-8") == "before"


@posix
def test_a_closed_standard_input_is_told(tmp_path: Path) -> None:
    """One sentence, and no file for what was typed."""
    process = run_live(
        tmp_path, "--live", "telegraph", "--typed", "typed.toml", stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, preexec_fn=lambda: os.close(0),
    )  # fmt: skip
    out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (2, b"")
    assert err == b"busbox: --live: needs an open standard input and output\n"
    assert not (tmp_path / "typed.toml").exists()


@posix
def test_what_a_signal_ends_keeps_what_was_typed(tmp_path: Path) -> None:
    """SIGTERM: no report, but the file; the terminal is as before."""
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
        process.terminate()
        assert process.wait(60) == 143
        assert termios.tcgetattr(slave) == before
    finally:
        process.kill()
        process.communicate()
        os.close(master)
        os.close(slave)
    tables = tomllib.loads((tmp_path / "typed.toml").read_text(encoding="utf-8"))["input"]
    assert [one["bytes"] for one in tables] == ["x"]


@posix
def test_a_terminal_is_set_up_again_after_a_stop(tmp_path: Path) -> None:
    """A shell gives it back with an echo and whole lines; after SIGCONT keys come at once again."""
    import termios

    master, slave = os.openpty()
    before = termios.tcgetattr(slave)
    process = run_live(
        tmp_path, "--live", "telegraph", "--pace", "1", stdin=slave, stdout=slave,
        stderr=subprocess.PIPE,
    )  # fmt: skip
    try:
        read_until(master, b"hello")
        termios.tcsetattr(slave, termios.TCSANOW, before)
        process.send_signal(signal.SIGCONT)
        late = time.monotonic() + 60
        while termios.tcgetattr(slave)[3] & (termios.ICANON | termios.ECHO):
            assert time.monotonic() < late
            time.sleep(0.01)
        os.write(master, b"x")
        assert b"x" not in read_until(master, b"X")
    finally:
        process.kill()
        process.communicate()
        os.close(master)
        os.close(slave)


@posix
def test_bytes_that_nobody_reads_are_told(tmp_path: Path) -> None:
    """A program at a pseudo-terminal that leaves before the last byte: the run says how many."""
    with pseudo_terminal(tmp_path) as (process, name, far):
        read_until(far, b"\n")
        os.write(far, b"q")
        _, err = process.communicate(timeout=60)
        assert err.decode() == f"telegraph sent 1 byte that nobody read at {name}\n"
        assert process.returncode == 0


@posix
def test_the_file_of_what_was_typed_repeats_the_run(tmp_path: Path) -> None:
    """A pipe: bench, tables and --until as the run says give the cycles and text again."""
    process = run_live(
        tmp_path, "--live", "telegraph", "--until", "5 ms", "--typed", "typed.toml",
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    out, _ = process.communicate(b"a", timeout=60)
    told = "To repeat the run, add the tables in typed.toml to the bench and run it with --until 80000."
    assert out.decode().splitlines()[-1] == told
    tables = (tmp_path / "typed.toml").read_text(encoding="utf-8")
    (tmp_path / "bench.toml").write_text(BENCH + tables, encoding="utf-8")
    again = Bench.load(tmp_path).run("llvm", 80_000)
    assert (again.texts["telegraph"], again.cycles) == ("hello\nA", 80_000)
