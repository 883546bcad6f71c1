"""How a driver in C ends other than by returning: one message each, and no process is left."""

from __future__ import annotations

import os
import re
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.cpu import host_child, host_process
from busbox.cpu.host_process import HostProcess, ended_by
from tests.cli.saying import plain_environment
from tests.cpu.host_libraries import FLAGS, compiled, needs_compiler

pytestmark = [needs_compiler, pytest.mark.skipif(os.name == "nt", reason="codes differ there")]

BENCH = """
clock = "1 MHz"
[slot.levers]
model = "gpio"
base = 0x1000
size = 0x100
[traffic]
file = "driver.so:main"
"""


def error_of(folder: Path, file: str = "driver.so:main", **keys: Any) -> str:
    """Run a driver that was compiled; return its message."""
    levers = {"model": "gpio", "base": 0x1000, "size": 0x100}
    traffic = {"file": file} | keys
    bench = Bench({"clock": "1 MHz", "slot": {"levers": levers}, "traffic": traffic}, folder=folder)
    with pytest.raises(InputError) as raised:
        bench.run("python")
    (mistake,) = raised.value.mistakes
    return str(mistake)


def driver(body: str, before: str = "") -> str:
    """Return a driver whose ``main``, in line 5, has this body."""
    return f'#include "busbox.h"\n#include <stdlib.h>\n#include <signal.h>\n{before}\n{body}\n'


ENDS = {
    "a pointer to nowhere": (
        "int main(void) { bus_write32(0x1000, 1); *(volatile int *)8 = 1; return 0; }",
        "driver.so: main crashed with signal 11 (SIGSEGV), after the write of 0x1 to 0x00001000 in "
        "main, driver.c:5",
    ),
    "abort": (
        "int main(void) { bus_read8(0x1003); abort(); }",
        "driver.so: main crashed with signal 6 (SIGABRT), after the read from 0x00001003 (a byte) in "
        "main, driver.c:5",
    ),
    "a trap before any access": (
        "int main(void) { raise(SIGTRAP); return 0; }",
        "driver.so: main crashed with signal 5 (SIGTRAP), before its first access",
    ),
    "a signal that Python would catch": (
        "int main(void) { raise(SIGINT); return 0; }",
        "driver.so: main crashed with signal 2 (SIGINT), before its first access",
    ),
    "a signal without a name": (
        "int main(void) { raise(SIGRTMIN + 3); return 0; }",
        "driver.so: main crashed with signal 37, before its first access",
    ),
    "exit": (
        "int main(void) { bus_write16(0x1002, 7); exit(3); }",
        "driver.so: main called exit(3), after the write of 0x7 to 0x00001002 (a half-word) in main, "
        "driver.c:5; it must return",
    ),
    "exit(0)": (
        "int main(void) { exit(0); }",
        "driver.so: main called exit(0), before its first access; it must return",
    ),
    "an endless loop": (
        "int main(void) { bus_write32(0x1000, 1); for (;;) { } }",
        "driver.so: main ran for 0.5 s without an access, after the write of 0x1 to 0x00001000 in "
        "main, driver.c:5; if it needs more time, set patience in [traffic]",
    ),
    "an address of no word": (
        "int main(void) { bus_read32(0x1002); return 0; }",
        "driver.c:5: main: the address of 4 bytes must be a multiple of 4, not 0x00001002",
    ),
    "an address of no half-word": (
        "int main(void) { bus_write16(0x1001, 1); return 0; }",
        "driver.c:5: main: the address of 2 bytes must be a multiple of 2, not 0x00001001",
    ),
    "an address that the bus does not have": (
        "int main(void) { bus_read8((uintptr_t)1 << 32); return 0; }",
        "driver.c:5: main: an address must be at most 0xffffffff, not 0x100000000",
    ),
}


@pytest.mark.parametrize("name", ENDS)
def test_an_end_is_one_message_with_the_last_access(
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """Signals, exits, loops and impossible addresses: what happened, and after which access."""
    body, told = ENDS[name]
    monkeypatch.setattr(host_process, "LOADING", 3600.0)  # that is not the limit of a loop
    compiled(tmp_path, driver(body), flags=("-std=gnu11", *FLAGS[3:]))
    assert error_of(tmp_path, patience=0.5) == told
    assert capfd.readouterr() == ("", "")


def test_an_access_from_another_thread_is_refused(tmp_path: Path) -> None:
    """Its order among the others would depend on this machine."""
    source = driver(
        "int main(void) { pthread_t one; pthread_create(&one, 0, act, 0); pthread_join(one, 0); "
        "return 0; }",
        "#include <pthread.h>\nstatic void *act(void *p) { bus_read32(0x1000); return p; }",
    )
    compiled(tmp_path, source, "-pthread")
    assert error_of(tmp_path) == (
        "driver.c:5: act: a bus function must be called by the thread of main only"
    )


def test_without_lines_the_last_access_has_its_address(tmp_path: Path) -> None:
    """A library without -g is run all the same."""
    compiled(tmp_path, driver("int main(void) { bus_write32(0x1000, 1); abort(); }"), flags=())
    told = error_of(tmp_path)
    assert re.fullmatch(
        r"driver\.so: main crashed with signal 6 \(SIGABRT\), after the write of 0x1 to 0x00001000 "
        r"at 0x[0-9a-f]{4}",
        told,
    )


def test_an_access_that_cannot_be_without_lines_names_the_library(tmp_path: Path) -> None:
    """There is no line to name."""
    compiled(tmp_path, driver("int main(void) { bus_read32(0x1001); return 0; }"), flags=())
    assert error_of(tmp_path) == (
        "driver.so: the address of 4 bytes must be a multiple of 4, not 0x00001001"
    )


# Libraries that cannot be used.


def test_a_missing_function_is_named_with_the_nearest(tmp_path: Path) -> None:
    """Only functions that others may call count, and none of the bus."""
    source = "void cabin_main(void) { }\nvoid other(void) { }\n"
    compiled(tmp_path, source)
    told = "driver.so: has no function {!r} that others may call{}"
    near = "; did you mean 'cabin_main'?"
    assert error_of(tmp_path, "driver.so:cabinmain") == told.format("cabinmain", near)
    assert error_of(tmp_path, "driver.so:bus_reader8") == told.format("bus_reader8", "")
    assert error_of(tmp_path, "driver.so:puts") == told.format("puts", "")


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("bus_write8(0, 0); bus_read32(0); return 0;", "bus functions bus_read32 and bus_write8"),
        ("return 0;", "function busbox_connect_1 of the bus"),
    ],
)
def test_bus_functions_that_are_missing_are_named(body: str, told: str, tmp_path: Path) -> None:
    """busbox.c was not compiled into the library."""
    compiled(tmp_path, driver(f"int main(void) {{ {body} }}"), bus=False)
    assert error_of(tmp_path) == (
        f"driver.so: lacks the {told}: compile busbox.c into it (busbox new host_driver writes that "
        "file)"
    )


EMPTY = "int main(void) { return 0; }\n"


@pytest.mark.parametrize(
    ("link", "bus", "what"),
    [
        (("-c",), False, "an object file"),
        (("-fPIE", "-pie"), True, "a program"),
        (("-no-pie",), True, "a program"),
    ],
)
def test_a_file_of_another_kind_is_refused(
    link: tuple[str, ...], bus: bool, what: str, tmp_path: Path
) -> None:
    """Object files and programs are no shared libraries."""
    compiled(tmp_path, EMPTY, link=link, bus=bus)
    assert error_of(tmp_path) == (
        f"driver.so: must be a shared library (link with -shared), not {what}"
    )


def test_a_library_for_another_machine_is_refused(tmp_path: Path) -> None:
    """Machine 243 is RISC-V (RISC-V ELF psABI specification)."""
    library = compiled(tmp_path, EMPTY)
    contents = bytearray(library.read_bytes())
    struct.pack_into("<H", contents, 18, 243)
    library.write_bytes(contents)
    told = error_of(tmp_path)
    assert told.startswith(
        "driver.so: is made for another machine, RISC-V of 64 bits: compile it for this one, "
    )
    assert "RISC-V" not in told.partition("this one")[2]


@pytest.mark.parametrize(
    ("contents", "told"),
    [
        (b"steps, not code\n", "driver.so: cannot be loaded: "),
        (b"", "driver.so: cannot be loaded: "),
        (b"\x7fELF", "driver.so: is not a valid ELF file: inconsistent or truncated"),
    ],
)
def test_a_file_that_is_no_library_is_refused(contents: bytes, told: str, tmp_path: Path) -> None:
    """What the system says of it stands in the message, once."""
    (tmp_path / "driver.so").write_bytes(contents)
    found = error_of(tmp_path)
    assert found.startswith(told)
    assert str(tmp_path) not in found
    assert "\n" not in found


def test_a_library_that_another_one_lacks_is_refused(tmp_path: Path) -> None:
    """The system names what is missing."""
    compiled(tmp_path, "void ring(void) { }\n", name="libbell.so")
    main = '#include "busbox.h"\nvoid ring(void);\nint main(void) { ring(); return 0; }\n'
    compiled(tmp_path, main, "-L.", "-lbell", name="driver.so")
    (tmp_path / "libbell.so").unlink()
    assert error_of(tmp_path).startswith("driver.so: cannot be loaded: libbell.so: ")


def test_a_function_that_no_library_has_is_named(tmp_path: Path) -> None:
    """The system names it when it loads the library."""
    compiled(tmp_path, "void ring(void);\nint main(void) { ring(); return 0; }\n")
    assert error_of(tmp_path) == "driver.so: cannot be loaded: undefined symbol: ring"


@pytest.mark.parametrize(
    ("body", "told"),
    [
        ("abort();", "crashed with signal 6 (SIGABRT) while it was loaded"),
        ("exit(4);", "called exit(4) while it was loaded"),
        ("for (;;) { }", "has not loaded after 0.4 s"),
    ],
)
def test_a_library_may_end_while_it_is_loaded(
    body: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Code that runs before the function can do all that it can."""
    if "for" in body:
        monkeypatch.setattr(host_process, "LOADING", 0.4)
        monkeypatch.setattr("busbox.cpu.host_driver.LOADING", 0.4)
    before = f"__attribute__((constructor)) static void first(void) {{ {body} }}"
    compiled(tmp_path, driver(EMPTY, before))
    assert error_of(tmp_path) == f"driver.so: {told}"


@pytest.mark.parametrize(
    ("source", "bus", "told"),
    [
        ("void other(void) { }", True, "has no function 'main' that others may call"),
        (EMPTY, False, "lacks the function busbox_connect_1 of the bus: compile busbox.c into it "
                       "(busbox new host_driver writes that file)"),
        (driver("int main(void) { bus_read32(0); abort(); }"), True, "main crashed with signal 6 "
         "(SIGABRT), after the read from 0x00000000"),
    ],
)  # fmt: skip
def test_a_library_of_another_format_is_told_about_too(
    source: str, bus: bool, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the file says nothing that is understood, the process reports what is missing."""
    monkeypatch.setattr("busbox.cpu.host_library.ELF", b"none")
    compiled(tmp_path, source, bus=bus)
    assert error_of(tmp_path) == f"driver.so: {told}"


def test_the_codes_of_other_systems_are_told() -> None:
    """0xc0000005 is an access violation (Microsoft's [MS-ERREF], NTSTATUS values)."""
    assert ended_by(0xC0000005) == "crashed with exception 0xc0000005"
    assert ended_by(3) == "called exit(3)"
    assert ended_by(-11) == "crashed with signal 11 (SIGSEGV)"


# Processes.


def wait_until(holds: Callable[[], bool]) -> None:
    """Wait until something holds; the limit of the test ends a wait in vain."""
    while not holds():
        time.sleep(0.01)


def is_running(pid: int) -> bool:
    """Return whether a process runs: one that has ended and is not yet collected does not."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


def test_the_process_ends_with_its_object(tmp_path: Path) -> None:
    """Whoever forgets it leaves nothing behind."""
    library = compiled(tmp_path, driver("int main(void) { for (;;) { } }"))
    process = HostProcess(library, "main", 60)
    begun = process.receive()
    assert begun is not None
    assert begun.kind == host_child.BEGUN
    inside = process._process
    assert inside.poll() is None
    assert os.getpgid(inside.pid) != os.getpgid(0)  # a terminal sends Ctrl-C to a whole group
    del process
    assert inside.poll() == 0


def test_time_that_busbox_takes_does_not_count(tmp_path: Path) -> None:
    """A driver that waits for an answer is not the one that is slow."""
    library = compiled(tmp_path, driver("int main(void) { bus_read32(0x1000); return 0; }"))
    process = HostProcess(library, "main", 0.3)
    kinds = []
    for _ in range(3):
        request = process.receive()
        kinds.append(None if request is None else request.kind)
        if kinds[-1] == host_child.READ:
            time.sleep(0.6)
            process.answer(0, False)
    assert kinds == [host_child.BEGUN, host_child.READ, host_child.RETURNED]
    assert not process.overdue
    assert process.end() == 0


def test_the_process_takes_no_module_of_the_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Files in the present folder, or on PYTHONPATH, that are named like modules are left alone."""
    (tmp_path / "struct.py").write_text("raise SystemExit(7)\n", encoding="utf-8")
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    process = HostProcess(compiled(tmp_path, EMPTY), "main", 60)
    begun = process.receive()
    process.end()
    assert begun is not None
    assert begun.kind == host_child.BEGUN


def test_a_process_that_does_not_end_by_itself_is_killed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A stopped process ends nothing by itself."""
    monkeypatch.setattr(host_process, "MOMENT", 0.2)
    library = compiled(tmp_path, driver("int main(void) { bus_read32(0x1000); return 0; }"))
    process = HostProcess(library, "main", 60)
    process.receive()
    process._process.send_signal(signal.SIGSTOP)
    os.waitid(os.P_PID, process._process.pid, os.WSTOPPED | os.WNOWAIT)
    assert process.end() == -signal.SIGKILL
    assert process.end() == -signal.SIGKILL  # once is enough


#: Prints the number of its process, then runs for ever, with accesses or without.
FOREVER = """
#include "busbox.h"
#include <stdio.h>
#include <unistd.h>
int main(void)
{
    printf("%d\\n", (int)getpid());
    for (;;) { LOOP }
}
"""


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
@pytest.mark.parametrize("loop", ["", "bus_read32(0x1000);"], ids=["silent", "busy"])
@pytest.mark.parametrize(
    ("number", "code", "told"),
    [
        (signal.SIGINT, 130, "\nstopped\n"),
        (signal.SIGTERM, 143, "stopped by SIGTERM\n"),
        (signal.SIGKILL, -9, ""),
    ],
)
def test_a_stopped_run_leaves_no_process(
    number: signal.Signals, code: int, told: str, loop: str, tmp_path: Path
) -> None:
    """Ctrl-C, SIGTERM and even SIGKILL of Busbox end the driver, and print no traceback."""
    compiled(tmp_path, FOREVER.replace("LOOP", loop), flags=("-std=gnu11", *FLAGS[3:]))
    (tmp_path / "bench.toml").write_text(BENCH + "patience = 60\n", encoding="utf-8")
    busbox = subprocess.Popen(
        [sys.executable, "-m", "busbox", "run", str(tmp_path)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, encoding="utf-8", env=plain_environment(),
    )  # fmt: skip
    try:
        assert busbox.stderr is not None
        pid = int(busbox.stderr.readline())
        assert is_running(pid)
        busbox.send_signal(number)
        out, err = busbox.communicate(timeout=60)
    finally:
        busbox.kill()
        busbox.wait()
    assert (busbox.returncode, out, err) == (code, "", told)
    wait_until(lambda: not is_running(pid))


def test_what_a_driver_prints_goes_to_standard_error(tmp_path: Path) -> None:
    """Output before a crash is seen, the page is empty, and the exit code is 2; stdin is empty."""
    source = driver(
        'int main(void) { printf("lever %d", getchar()); fprintf(stderr, "!\\n"); abort(); }',
        "#include <stdio.h>",
    )
    compiled(tmp_path, source)
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    words = [sys.executable, "-m", "busbox", "run", str(tmp_path)]
    done = subprocess.run(
        words,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env=plain_environment(),
    )
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "lever -1!\n"
        "busbox: driver.so: main crashed with signal 6 (SIGABRT), before its first access\n"
    )


def test_a_crash_leaves_no_file(tmp_path: Path) -> None:
    """No core file is written, whatever the limit of the shell."""
    import resource

    source = driver(
        "int main(void) { struct rlimit r; getrlimit(RLIMIT_CORE, &r); exit(r.rlim_cur != 0); }",
        "#include <sys/resource.h>",
    )
    compiled(tmp_path, source, flags=("-std=gnu11", *FLAGS[3:]))
    before, most = resource.getrlimit(resource.RLIMIT_CORE)
    if most == 0:
        pytest.skip("the system lets nobody write a core file")
    resource.setrlimit(resource.RLIMIT_CORE, (most, most))
    try:
        assert "called exit(0)" in error_of(tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_CORE, (before, most))
