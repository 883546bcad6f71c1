"""Signals that ask a process to end: they end a run as cleanly as Ctrl-C does."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

#: SIGTERM (``kill``) and, where there is one, SIGHUP (the terminal is closed).
_ENDING = tuple(
    signal.Signals[name] for name in ("SIGTERM", "SIGHUP") if name in signal.Signals.__members__
)


class Terminated(BaseException):
    """The process was asked to end by a signal.

    No ``Exception``: like ``KeyboardInterrupt``, nothing on its way out may take it for an error.

    Attributes
    ----------
    code : the exit code that shells give such a process, 128 + the number of the signal
    """

    def __init__(self, number: int) -> None:
        super().__init__(signal.Signals(number).name)
        self.code = 128 + number


@contextmanager
def ending_signals() -> Iterator[None]:
    """Have signals that ask for an end raise :class:`Terminated` where the main thread is.

    A signal that is ignored stays ignored (``nohup``), and one that a caller handles stays theirs. Once
    one has come, those that follow are ignored, so that cleaning up comes to its end. Outside of the
    main thread nothing changes.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    taken = [number for number in _ENDING if signal.getsignal(number) is signal.SIG_DFL]

    def end(number: int, _frame: FrameType | None) -> None:
        for other in taken:
            signal.signal(other, signal.SIG_IGN)
        raise Terminated(number)

    try:
        for number in taken:
            signal.signal(number, end)
        yield
    finally:
        for number in taken:
            signal.signal(number, signal.SIG_DFL)
