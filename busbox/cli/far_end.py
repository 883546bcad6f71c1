"""What ``busbox run --live`` connects to a serial port: this terminal, or a pseudo-terminal.

Source of the calls: POSIX.1-2017, termios and openpty's master and slave.
"""

from __future__ import annotations

import os
import select
import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from busbox.basics.errors import InputError

#: Seconds that a program at a pseudo-terminal has, once the run is over, to read what was sent.
PATIENCE = 2.0
#: Seconds between two looks at what it has not read.
PAUSE = 0.01

#: Bytes that are read at once.
ROOM = 4096
#: What Ctrl-D sends on a terminal: the end of the input. Source: POSIX, special character EOF.
END = b"\x04"


class FarEnd:
    """Bytes from and to a file: a terminal, a pipe, the master of a pseudo-terminal.

    Parameters
    ----------
    source, target : file descriptors
    ends : whether ``END``, or the end of the file, ends the run; else it only ends the input

    Attributes
    ----------
    ended : the run is to end
    closed : nothing more can be read
    """

    def __init__(self, source: int, target: int, *, ends: bool) -> None:
        self._source, self._target, self._ends = source, target, ends
        self._waiting = b""
        self._last = b"\n"
        self.ended = self.closed = False

    def show(self, data: bytes) -> None:
        """Write what a device has sent; what nobody takes now is kept for later."""
        self._waiting += data
        self._last = self._waiting[-1:] or self._last
        self._write()

    def finish(self) -> None:
        """Show all that is left, and end its line."""
        self.show(b"" if self._last == b"\n" else b"\n")
        while self._waiting:
            self._write(None)

    def drain(self, unread: Callable[[], int]) -> int:
        """Let the other side read what is left, for a time; return how many bytes it has not read.

        Parameters
        ----------
        unread : how many of the bytes that were written have not been read
        """
        late = time.monotonic() + PATIENCE
        while left := len(self._waiting) + unread():
            if time.monotonic() > late:
                break
            time.sleep(PAUSE)
            self._write()
        return left

    def _write(self, wait: float | None = 0) -> None:
        while self._waiting and select.select([], [self._target], [], wait)[1]:
            try:
                written = os.write(self._target, self._waiting)
            except BlockingIOError:
                return
            self._waiting = self._waiting[written:]

    def typed(self, wait: float) -> bytes:
        """Return what has been typed; wait so many seconds for it if there is nothing."""
        self._write()
        sources = [] if self.closed or self.ended else [self._source]
        if not select.select(sources, [], [], wait)[0]:
            return b""
        try:
            data = os.read(self._source, ROOM)
        except OSError:  # a terminal that has gone
            data = b""
        if not data:
            self.closed, self.ended = True, self.ended or self._ends
            return b""
        if self._ends and END in data:
            self.ended = True
            return data[: data.index(END)]
        return data


@contextmanager
def this_terminal() -> Iterator[FarEnd]:
    """Give the terminal of this process: each key at once and without an echo, as long as it is open.

    Where standard input is a file or a pipe, its end is the end of the input and not of the run.

    Raises
    ------
    InputError : there are no terminals of POSIX here, or standard input or output is closed
    """
    _posix()
    source, target = _descriptors()
    sys.stdout.flush()
    if not os.isatty(source):
        far = FarEnd(source, target, ends=False)
        with _interrupted(far):
            yield far
            far.finish()
        return
    import termios
    import tty

    before = termios.tcgetattr(source)
    far = FarEnd(source, target, ends=True)

    def keys_at_once(*_signal: object) -> None:
        tty.setcbreak(source)

    try:
        keys_at_once()
        # A shell sets a terminal as it wants it while a run is stopped, by Ctrl-Z.
        with _handled(signal.SIGCONT, keys_at_once), _interrupted(far):
            yield far
            far.finish()
    finally:
        termios.tcsetattr(source, termios.TCSADRAIN, before)


@contextmanager
def pseudo_terminal(say: Callable[[str], None]) -> Iterator[FarEnd]:
    """Give a new pseudo-terminal, in raw mode; ``say`` is told its name, and of bytes nobody read.

    Raises
    ------
    InputError : there are no terminals of POSIX here
    """
    _posix()
    import fcntl
    import termios
    import tty

    def unread() -> int:
        return int.from_bytes(fcntl.ioctl(slave, termios.FIONREAD, bytes(4)), sys.byteorder)

    master, slave = os.openpty()
    try:
        tty.setraw(slave)
        os.set_blocking(master, False)
        name = os.ttyname(slave)
        say(f"is at {name}")
        far = FarEnd(master, master, ends=False)
        with _interrupted(far):
            yield far
            left = far.drain(unread)
        if left:
            say(f"sent {left:,} byte{'s' if left > 1 else ''} that nobody read at {name}")
    finally:
        os.close(slave)
        os.close(master)


def _posix() -> None:
    if sys.platform == "win32":
        raise InputError.of(
            "needs terminals as POSIX has them, which this system has not", "--live"
        )


def _descriptors() -> tuple[int, int]:
    if sys.stdin is None or sys.stdout is None:  # what Python makes of a closed descriptor
        raise InputError.of("needs an open standard input and output", "--live")
    return sys.stdin.fileno(), sys.stdout.fileno()


@contextmanager
def _interrupted(far: FarEnd) -> Iterator[None]:
    """Let the first Ctrl-C end the run in the cycle where it is; a second one acts as ever."""

    def end(*_signal: object) -> None:
        far.ended = True
        signal.signal(signal.SIGINT, signal.default_int_handler)

    with _handled(signal.SIGINT, end):
        yield


@contextmanager
def _handled(number: int, handler: Callable[[int, FrameType | None], None]) -> Iterator[None]:
    before = signal.signal(number, handler)
    try:
        yield
    finally:
        signal.signal(number, before)
