"""A verb that a signal stops: its message, its exit code, and what it leaves behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from busbox.basics.signals import Terminated, ending_signals
from tests.cli.saying import plain_environment

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")

#: A shell's ``command &`` starts a process with SIGINT ignored (POSIX, Shell Command Language, 2.11).
BEHIND = """
import signal
signal.signal(signal.SIGINT, signal.SIG_IGN)
from busbox.cli import main
main()
"""
#: The same, started by ``nohup``.
NOHUP = "import signal\nsignal.signal(signal.SIGHUP, signal.SIG_IGN)\n" + BEHIND
BENCH = """
clock = "16 MHz"
[slot.clock]
model = "timer"
base = 0
size = 0x40
as = "hardware"
[slot.crier]
model = "crier.py:Crier"
base = 0x100
size = 4
[traffic]
file = "long.steps"
"""
#: Says that the run has begun, on standard error, as all that hooks print.
CRIER = """
from busbox.device import RegisterModel
from busbox.map.registers import Register, RegisterTable
class Crier(RegisterModel):
    table = RegisterTable(Register("CALL", 0, "wo"))
    def write_CALL(self, write):
        print("begins", flush=True)
"""
#: Writes half of what it has to write, and says so.
SLOW = """
import sys
import time
def write(result, target):
    target.text.write("half")
    target.text.flush()
    print("begins", file=sys.stderr, flush=True)
    time.sleep(600)
"""
#: Traffic that takes hours, and traffic that takes no time.
LONG = "write clock.ALARM 5\nwrite crier.CALL 1\npause 100000 s\nread clock.NOW\n"
SHORT = "read clock.NOW\n"


@pytest.mark.parametrize("engine", ["reference", "python", "llvm"])
def test_sigterm_ends_a_run_in_the_background(engine: str, tmp_path: Path) -> None:
    """Where Ctrl-C is ignored, SIGTERM ends a long run in one line, with exit code 128 + 15."""
    write_bench(tmp_path, LONG)
    words = ("run", str(tmp_path), "--engine", engine)
    assert ended_by([signal.SIGTERM], *words) == (143, "", "stopped by SIGTERM\n")


def test_sigterm_leaves_no_file_half_written(tmp_path: Path) -> None:
    """A process that SIGTERM ends while it writes leaves neither the file nor its part."""
    write_bench(tmp_path, SHORT)
    before = sorted(path.name for path in tmp_path.iterdir())
    export = f"{tmp_path / 'slow.py'}:write={tmp_path / 'result.txt'}"
    words = ("run", str(tmp_path), "--write", export)
    assert ended_by([signal.SIGTERM], *words) == (143, "", "stopped by SIGTERM\n")
    after = sorted(path.name for path in tmp_path.iterdir() if path.name != "__pycache__")
    assert after == before


def test_a_closed_terminal_ends_a_run(tmp_path: Path) -> None:
    """SIGHUP ends a run with 128 + 1; under nohup it is ignored, and SIGTERM still ends it."""
    write_bench(tmp_path, LONG)
    words = ("run", str(tmp_path))
    assert ended_by([signal.SIGHUP], *words)[0] == 129
    both = [signal.SIGHUP, signal.SIGTERM]
    assert ended_by(both, *words, program=NOHUP) == (143, "", "stopped by SIGTERM\n")


def test_handlers_are_put_back() -> None:
    """Outside of a verb, and for signals that somebody else handles, nothing is changed."""
    kept = signal.signal(signal.SIGHUP, lambda number, frame: None)
    try:
        others = signal.getsignal(signal.SIGHUP)
        with ending_signals():
            assert signal.getsignal(signal.SIGHUP) is others
            with pytest.raises(Terminated, match="SIGTERM"):
                signal.raise_signal(signal.SIGTERM)
            assert signal.getsignal(signal.SIGTERM) is signal.SIG_IGN
        assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
    finally:
        signal.signal(signal.SIGHUP, kept)


def write_bench(folder: Path, traffic: str) -> None:
    """Write the bench with its model, its export and its traffic."""
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "crier.py").write_text(CRIER, encoding="utf-8")
    (folder / "slow.py").write_text(SLOW, encoding="utf-8")
    (folder / "long.steps").write_text(traffic, encoding="utf-8")


def ended_by(
    signals: list[signal.Signals], *words: str, program: str = BEHIND
) -> tuple[int, str, str]:
    """Run a verb in a process of its own, and send it signals soon after it says that it begins.

    Return its exit code, and what it says on stdout, and on stderr after that.
    """
    with subprocess.Popen(
        [sys.executable, "-c", program, *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env=plain_environment(),
    ) as run:
        try:
            assert run.stderr is not None
            assert run.stderr.readline() == "begins\n"
            for number in signals:
                time.sleep(0.5)  # what comes next has begun by now
                run.send_signal(number)
            out, error = run.communicate(timeout=60)
        finally:
            run.kill()  # or leaving this block would wait for ever
    return run.returncode, out, error
