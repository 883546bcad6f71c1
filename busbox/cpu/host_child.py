"""The process of a driver in C: loads the library, calls its function and passes on its accesses.

``host_process.py`` runs this file on its own, with Python's standard library and nothing else. It gets
the library, the function and what the library calls to be connected. Standard input brings answers,
and its end means that nobody waits any more; standard output takes requests. The driver has neither:
what it prints goes to standard error, and its standard input is empty.
"""

from __future__ import annotations

import ctypes
import errno
import os
import signal
import struct
import sys
import threading
from typing import NoReturn

#: A request: kind, bytes of the access, data, address, return address of the call; then a text of
#: ``data`` bytes, if the kind is one of :data:`REFUSED`.
REQUEST = struct.Struct("<cBIQQ")
#: An answer: the word that was read, in its lowest bits, and bit 32 if the access ended with ERR.
ANSWER = struct.Struct("<Q")
ERROR = 1 << 32

#: The function begins (its address), or has returned.
BEGUN, RETURNED = b"B", b"E"
#: What the driver asks for, as busbox.c has it.
READ, WRITE, IDLE = b"R", b"W", b"I"
#: The same from a thread that is not the one of the function, or from a process that it has forked.
THREAD, FORKED = b"T", b"K"
#: The library does not load, lacks the function, lacks the bus functions; the call raised.
UNLOADABLE, NO_FUNCTION, NO_BUS, RAISED = b"L", b"F", b"C", b"X"
REFUSED = (UNLOADABLE, NO_FUNCTION, NO_BUS, RAISED)

#: The exit code where the driver has closed the pipes, so that nothing can be said any more.
CLOSED = 181

#: What busbox.c calls: kind, bytes, address, data, return address.
_ASK = ctypes.CFUNCTYPE(
    ctypes.c_uint64,
    ctypes.c_uint32, ctypes.c_uint32, ctypes.c_uint64, ctypes.c_uint32, ctypes.c_uint64,
)  # fmt: skip


class _Channel:
    """The requests and answers of one driver."""

    def __init__(self, requests: int, answers: int) -> None:
        self._requests, self._answers = requests, answers
        self._thread, self._process = threading.get_ident(), os.getpid()
        self._answer = 0
        self._answered = threading.Lock()
        self._answered.acquire()
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        """Take answers; end the process, wherever the driver is, when there are no more."""
        while True:
            got = os.read(self._answers, ANSWER.size)
            if len(got) < ANSWER.size:
                os._exit(0)
            (self._answer,) = ANSWER.unpack(got)
            self._answered.release()

    def say(self, kind: bytes, address: int = 0, text: str = "") -> None:
        """Report something that has no answer; a process that the driver has forked ends instead."""
        if os.getpid() != self._process:
            os._exit(0)
        data = text.encode("utf-8", "replace")
        self._write(REQUEST.pack(kind, 0, len(data), address, 0) + data)

    def ask(self, kind: int, size: int, address: int, data: int, caller: int) -> int:
        """Pass on what the driver asks for, and return the answer."""
        asked = bytes([kind]) if threading.get_ident() == self._thread else THREAD
        if os.getpid() != self._process:
            asked = FORKED
        self._write(REQUEST.pack(asked, size, data, address, caller))
        self._answered.acquire()
        return self._answer

    def _write(self, message: bytes) -> None:
        try:
            while message:
                message = message[os.write(self._requests, message) :]
        except OSError as error:  # else nobody waits any more
            os._exit(CLOSED if error.errno == errno.EBADF else 0)


def _own_pipes() -> tuple[int, int]:
    """Return the pipes for requests and answers; the driver gets others in their places."""
    requests, answers = os.dup(1), os.dup(0)
    os.dup2(2, 1)
    empty = os.open(os.devnull, os.O_RDONLY)
    os.dup2(empty, 0)
    os.close(empty)
    return requests, answers


def _crash_alone() -> None:
    """Have a crash leave no file and open no window."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    if sys.platform == "win32":
        ctypes.windll.kernel32.SetErrorMode(0x0001 | 0x0002)
    else:
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))


def main(library: str, function: str, connect: str) -> NoReturn:
    """Run the driver; the process ends with it."""
    channel = _Channel(*_own_pipes())
    _crash_alone()
    # A driver may call a function ``write`` or ``index``: its own one counts, not that of Python's
    # process.
    own_first = getattr(os, "RTLD_DEEPBIND", 0)
    try:
        loaded = ctypes.CDLL(library, mode=ctypes.DEFAULT_MODE | own_first)
    except OSError as error:
        _refuse(channel, UNLOADABLE, str(error))
    try:
        connected = loaded[connect]
    except AttributeError as error:
        _refuse(channel, NO_BUS, str(error))
    try:
        called = loaded[function]
    except AttributeError as error:
        _refuse(channel, NO_FUNCTION, str(error))
    ask = _ASK(channel.ask)
    called.restype = connected.restype = None
    connected(ask)
    channel.say(BEGUN, ctypes.cast(called, ctypes.c_void_p).value or 0)
    try:
        called(0, None)  # a main that takes arguments gets none
    except OSError as error:  # how ctypes reports a crash on Windows
        _refuse(channel, RAISED, str(error))
    channel.say(RETURNED)
    os._exit(0)


def _refuse(channel: _Channel, kind: bytes, text: str) -> NoReturn:
    channel.say(kind, text=text)
    os._exit(0)


if __name__ == "__main__":
    main(*sys.argv[1:])
