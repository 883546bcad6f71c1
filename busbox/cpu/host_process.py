"""The process of a driver in C, seen from Busbox: requests come in, answers go out, and it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
import weakref
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from busbox.cpu import host_child
from busbox.cpu.host_child import ANSWER, REFUSED, REQUEST

#: What busbox.c is connected by; its number changes with the meaning of requests and answers.
CONNECT = "busbox_connect_1"
#: Seconds that a library may take to load.
LOADING = 30.0
#: Seconds that a process gets to end by itself.
MOMENT = 1.0
#: Seconds between two looks at a process that may run for too long.
GLANCE = 0.1
#: Exit codes of Windows from here on are exceptions. Source: [MS-ERREF], NTSTATUS, severity 3.
_EXCEPTIONS = 0xC0000000


@dataclass(frozen=True, slots=True)
class Request:
    """What a driver asks for.

    Attributes
    ----------
    kind : one of those of :mod:`busbox.cpu.host_child`
    size, address, data : of an access, without lanes; cycles to idle are ``data``
    caller : return address of the call in the process
    text : why the library cannot be used
    """

    kind: bytes
    size: int
    address: int
    data: int
    caller: int
    text: str = ""


class HostProcess:
    """A process that runs one function of a library; it ends with the object at the latest.

    What it has forked ends with it, unless that has left its session.

    Attributes
    ----------
    closed : whether it had to be ended after it had closed the pipes

    Parameters
    ----------
    library : the file
    function : its name in the library
    patience : seconds that it may run without a request
    """

    def __init__(self, library: Path, function: str, patience: float) -> None:
        words = [sys.executable, "-I", "-S", "-B", host_child.__file__]
        self.closed = False
        self._process = subprocess.Popen(
            [*words, str(library.absolute()), function, CONNECT],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            bufsize=0,
            # Ctrl-C goes to Busbox alone, which ends the process.
            start_new_session=sys.platform != "win32",
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._answers, self._requests = self._process.stdin, self._process.stdout
        self._limit = _Limit(self._process)
        self._seconds, self._patience = LOADING, patience
        self._finalizer = weakref.finalize(
            self, _end, self._process, self._limit, self._answers, self._requests
        )

    @property
    def overdue(self) -> bool:
        """Whether it was ended because it ran too long without a request."""
        return self._limit.reached

    def receive(self) -> Request | None:
        """Wait for the next request; None if the process has ended without one."""
        self._limit.begin(self._seconds)
        head = self._read(REQUEST.size)
        if head is None:
            return None
        kind, size, data, address, caller = REQUEST.unpack(head)
        text = self._read(data) if kind in REFUSED else b""
        self._limit.end()
        self._seconds = self._patience
        if text is None:
            return None
        return Request(kind, size, address, data, caller, text.decode("utf-8", "replace"))

    def answer(self, data: int, error: bool) -> None:
        """Answer the last request; the driver continues."""
        with suppress(OSError):  # it has just ended: the next request will be missing
            self._answers.write(ANSWER.pack(data | (host_child.ERROR if error else 0)))

    def end(self) -> int:
        """End the process; return its exit code as :mod:`subprocess` has it."""
        self._finalizer()
        return self._process.returncode

    def wait(self) -> int:
        """Return the exit code of a process that sends no more requests."""
        self.closed = not _ends_in_a_moment(self._process) and not self.overdue
        return self.end()

    def _read(self, count: int) -> bytes | None:
        """Return so many bytes, or None if the process ends before."""
        got = b""
        while len(got) < count:
            more = self._requests.read(count - len(got))
            if not more:
                return None
            got += more
        return got


class _Limit:
    """Ends a process that runs for too long, from a thread: a pipe has no limit on every system."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.reached = False
        self._process = process
        self._due: float | None = None
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._thread.start()

    def begin(self, seconds: float) -> None:
        """Let the process run for so many seconds."""
        self._due = time.monotonic() + seconds

    def end(self) -> None:
        """Let it wait for as long as it has to."""
        self._due = None

    def close(self) -> None:
        """End the thread."""
        self._over.set()
        if threading.current_thread() is not self._thread:  # it is where garbage may be collected
            self._thread.join()

    def _watch(self) -> None:
        while not self._over.wait(GLANCE):
            due = self._due
            self.reached = due is not None and time.monotonic() >= due
            if self.reached or _has_ended(self._process):  # what it has forked keeps the pipe open
                _kill(self._process)
                return


def _end(
    process: subprocess.Popen[bytes], limit: _Limit, answers: IO[bytes], requests: IO[bytes]
) -> None:
    """End a process: it ends itself when its answers end, or is killed after a moment."""
    limit.close()
    answers.close()
    _ends_in_a_moment(process)
    _kill(process)
    process.wait()
    requests.close()


def _has_ended(process: subprocess.Popen[bytes]) -> bool:
    """Return whether a process has ended; it stays a zombie, so that its number is not given away."""
    if sys.platform == "win32":
        return process.poll() is not None
    if process.returncode is not None:
        return True
    return os.waitid(os.P_PID, process.pid, os.WEXITED | os.WNOHANG | os.WNOWAIT) is not None


def _ends_in_a_moment(process: subprocess.Popen[bytes]) -> bool:
    """Wait for a process to end, for a moment; return whether it has."""
    until = time.monotonic() + MOMENT
    pause = 0.0005
    while not _has_ended(process):
        if time.monotonic() >= until:
            return False
        time.sleep(pause)
        pause = min(2 * pause, 0.05)
    return True


def _kill(process: subprocess.Popen[bytes]) -> None:
    """End a process that has not been waited for, with all that it has forked."""
    if sys.platform == "win32":
        process.kill()
    elif process.returncode is None:
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(process.pid, signal.SIGKILL)


def ended_by(code: int) -> str:
    """Return how a process has ended, to follow the name of the function that it ran."""
    if code < 0:
        try:
            name = f" ({signal.Signals(-code).name})"
        except ValueError:
            name = ""
        return f"crashed with signal {-code}{name}"
    if code >= _EXCEPTIONS:
        return f"crashed with exception {code:#010x}"
    return f"called exit({code})"
