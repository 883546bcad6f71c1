"""A driver in C that forks, closes what is not its own or prints very much."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.saying import plain_environment
from tests.cpu.host_libraries import FLAGS, compiled
from tests.cpu.test_host_ends import BENCH, driver, is_running

GNU = ("-std=gnu11", *FLAGS[3:])
HEAD = "#include <stdio.h>\n#include <sys/wait.h>\n#include <unistd.h>"
pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")


def ran(folder: Path, body: str, patience: int = 2) -> tuple[int, str, list[str]]:
    """Run a driver from the command line; return exit code, output, and the lines of errors."""
    compiled(folder, driver(f"int main(void) {{ {body} }}", HEAD), flags=GNU)
    (folder / "bench.toml").write_text(BENCH + f"patience = {patience}\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "busbox", "run", str(folder), "--brief"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=60,
        env=plain_environment(),
    )
    return done.returncode, done.stdout, done.stderr.splitlines()


def left(pid: int) -> bool:
    """Return whether a process is left a moment later; it is ended."""
    for _ in range(50):
        if not is_running(pid):
            return False
        time.sleep(0.1)
    os.kill(pid, signal.SIGKILL)
    return True


#: Forks a process that never ends, and prints its number.
CHILD = (
    "int child = fork(); if (child == 0) for (;;) pause(); "
    'fprintf(stderr, "%d\\n", child); bus_write32(0x40000000, 1); '
)


@pytest.mark.parametrize(
    ("body", "code", "told"),
    [
        (CHILD + "return 0;", 0, ""),
        (CHILD + "abort();", 2, "main crashed with signal 6 (SIGABRT), after the write"),
        (CHILD + "for (;;) { }", 2, "main ran for 2 s without an access, after the write"),
    ],
    ids=["returns", "crashes", "loops"],
)
def test_what_a_driver_forks_ends_with_it(body: str, code: int, told: str, tmp_path: Path) -> None:
    """Its end is told as without it, at once, and no process is left."""
    found, _, errors = ran(tmp_path, body)
    assert found == code
    assert not left(int(errors[0]))
    assert len(errors) == 1 + bool(told)
    assert told in errors[-1]


def test_a_forked_driver_has_one_result(tmp_path: Path) -> None:
    """The child that returns from main ends silently: one run, with the accesses of the parent."""
    code, out, errors = ran(tmp_path, "fork(); wait(0); return 0;")
    assert (code, errors) == (0, [])
    assert out.count("cycle") == 1


def test_a_forked_process_may_not_use_the_bus(tmp_path: Path) -> None:
    """Its accesses would stand among those of main in an order that depends on this machine."""
    body = "if (fork() == 0) { bus_read32(0x40000000); } wait(0); return 0;"
    code, out, errors = ran(tmp_path, body)
    assert (code, out) == (2, "")
    assert errors == [
        "busbox: driver.c:7: main: a bus function must be called by main, not by a process that it "
        "forked"
    ]


@pytest.mark.parametrize(
    ("after", "told"),
    [
        ("bus_read32(0x40000000); return 0;",
         "main called exit(181), before its first access, or closed the pipe to Busbox, which it had "
         "not opened; it must return"),
        ("return 0;",
         "main called exit(181), before its first access, or closed the pipe to Busbox, which it had "
         "not opened; it must return"),
        ("for (;;) pause();",
         "main closed the pipe to Busbox, which it had not opened, before its first access"),
    ],
    ids=["goes on", "returns", "stays"],
)  # fmt: skip
def test_a_driver_that_closes_the_pipes_is_told(after: str, told: str, tmp_path: Path) -> None:
    """Standard streams are its own and may be closed; no other file that is open is."""
    code, out, errors = ran(tmp_path, f"for (int n = 0; n < 64; n++) close(n); {after}")
    assert (code, out, errors) == (2, "", [f"busbox: driver.so: {told}"])


def test_a_driver_may_close_its_streams(tmp_path: Path) -> None:
    """Standard input, output and error carry no access."""
    body = "fclose(stdin); fclose(stdout); fclose(stderr); bus_read32(0x40000000); return 0;"
    code, out, errors = ran(tmp_path, body)
    assert (code, errors) == (0, [])
    assert out


def test_very_much_output_is_passed_on(tmp_path: Path) -> None:
    """Two megabytes go to standard error as they are, and hold nothing up."""
    body = 'for (int n = 0; n < 200000; n++) puts("lever 12"); return 0;'
    code, out, errors = ran(tmp_path, body, patience=50)
    assert code == 0
    assert "lever" not in out
    assert errors == ["lever 12"] * 200_000
