"""The contract of a traffic format: bytes in, pieces out; steps in, bytes out.

Contract
========
1. The name of a format in the registry is the suffix of its files, without the dot: ``csv``. A format
   never sees a ``.gz`` suffix after it: it gets the uncompressed bytes.
2. ``read`` gets the file, open for reading bytes, and its name for messages. It yields pieces in the
   order of the traffic: steps, handlers, or tables of accesses where that is faster. It may read and
   yield lazily; it is called again whenever the traffic is played from the start.
3. ``write`` gets the steps and yields the bytes of the file, in chunks of any size. The same steps give
   the same bytes.
4. A format may only read or only write: the other function is None, and asking for it is an error.
5. What cannot be read or written raises InputError: with the file's name and the line, where there
   are lines (:func:`busbox.basics.errors.limited` for many mistakes), or, while writing, with the
   number of the step, from 1: ``step 3: CSV cannot hold a handler``. Nothing is dropped.
6. A format reads back what it wrote as the same steps (a step's line number is not compared).
7. A file may hold the signals of a bus instead of steps. ``of_signals`` then gives the format that
   reads such a file by a map of them. What a reader should know of it (accesses left out, times
   rounded) is told once, when the file has been read.

:meth:`Format.of_lines` makes a format from two functions that handle lines only: UTF-8, the byte-order
mark and line ends are taken care of.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import IO, Any

from busbox.basics.errors import InputError, Mistake, format_value
from busbox.basics.files import lines_in
from busbox.cpu.steps import Step
from busbox.cpu.table import AccessTable

#: What a format reads: one step, or many accesses at once.
Piece = Step | AccessTable


@dataclass(frozen=True)
class SignalRequest:
    """What a file of signals is read with.

    Attributes
    ----------
    table : the map, as TOML: ``[traffic.signals]``
    placed : makes a mistake at a key of the map, "" for the map itself
    clock_hz : the clock whose cycles times become; None if it is not given
    inside : returns whether a slot answers at an address; None without a bench
    time_column : where a table of samples has a column of times: its kind, such as ``time_us``, and
        its name
    tell : called with what a reader should know, one sentence each, whenever a file has been read
    """

    table: Mapping[str, object]
    placed: Callable[[str, str], Mistake]
    clock_hz: int | None = None
    inside: Callable[[int], bool] | None = None
    time_column: tuple[str, str] | None = None
    tell: Callable[[tuple[str, ...]], None] = lambda notes: None


@dataclass(frozen=True)
class Format:
    """One traffic format.

    Attributes
    ----------
    text : one sentence that describes it
    read : function of the file, open in binary mode, and its name; yields pieces. None if write-only
    write : function of the steps; yields chunks of bytes. None if read-only
    of_signals : function of a request; returns the format that reads a file of signals by it. None if
        there are no such files
    """

    text: str
    read: Callable[[IO[bytes], str], Iterator[Piece]] | None = None
    write: Callable[[Iterable[Step]], Iterator[bytes]] | None = None
    of_signals: Callable[[SignalRequest], Format] | None = None

    @classmethod
    def of_lines(
        cls,
        text: str,
        read: Callable[[Iterable[str], str], Iterator[Piece]] | None = None,
        write: Callable[[Iterable[Step]], Iterator[str]] | None = None,
    ) -> Format:
        """Return a format whose files are UTF-8 text.

        Parameters
        ----------
        read : function of the lines, without their ends, and the file's name; yields pieces
        write : function of the steps; yields lines without their ends
        """

        def read_bytes(file: IO[bytes], name: str) -> Iterator[Piece]:
            assert read is not None
            return read(lines_in(file, name), name)

        def write_bytes(steps: Iterable[Step]) -> Iterator[bytes]:
            assert write is not None
            return (f"{line}\n".encode() for line in write(steps))

        return cls(text, read and read_bytes, write and write_bytes)


def check_format(name: str, found: Any) -> None:
    """Refuse an object that is not a format.

    Raises
    ------
    InputError : it is not a :class:`Format`, or neither reads nor writes
    """
    if not isinstance(found, Format):
        raise InputError.of(
            f"{name!r} must be a Format (busbox.formats.contract), not {format_value(found)}"
        )
    if found.read is None and found.write is None and found.of_signals is None:
        raise InputError.of(f"{name!r} must read or write; it does neither")
