"""Standard streams that are closed, full or in another encoding, and the last words of a process."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from typing import Any, TextIO

from busbox.basics.errors import bounded

#: Lines of an error that are shown; more are counted.
SHOWN_LINES = 200


def mend_streams() -> None:
    """Give a process new standard streams in place of closed ones, and escape what they cannot show.

    Without that, the next file that is opened would be taken for standard output. What is written to a
    standard output that is closed is an error, as for any file; messages to a standard error that is
    closed can reach nobody, and are no error.
    """
    for number, flags in ((0, os.O_RDONLY), (1, os.O_RDONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            opened = os.open(os.devnull, flags)
            if opened != number:
                os.dup2(opened, number)
                os.close(opened)
    if sys.stdout is None:
        sys.stdout = _writer(1)
    if sys.stderr is None:
        sys.stderr = _writer(2)
    for stream in (sys.stdout, sys.stderr):
        # What a terminal's encoding cannot show is escaped, not an error.
        reconfigure: Any = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")


def _writer(number: int) -> TextIO:
    raw = io.FileIO(number, "w", closefd=False)
    return io.TextIOWrapper(io.BufferedWriter(raw), encoding="utf-8", write_through=False)


def say(text: str) -> None:
    """Write the lines of a message to standard error; one that cannot be written is nobody's."""
    lines = text.split("\n")
    more = len(lines) - SHOWN_LINES
    if more > 0:
        lines = [*lines[:SHOWN_LINES], f"and {more:,} more lines"]
    with contextlib.suppress(OSError, ValueError):
        for line in lines:
            sys.stderr.write(f"{bounded(line)}\n")
        sys.stderr.flush()


def drop_output() -> None:
    """Have what is still to be written to standard output go nowhere, as it cannot be written."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
