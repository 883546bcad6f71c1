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
   number of the step, from 1: ``step 3: CSV holds accesses only, not a mark``. Nothing is dropped.
6. A format reads back what it wrote as the same steps (a step's line number is not compared).

:meth:`Format.of_lines` makes a format from two functions that handle lines only: UTF-8, the byte-order
mark and line ends are taken care of.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import IO, Any

from busbox.basics.errors import InputError, format_value
from busbox.basics.files import lines_in
from busbox.cpu.steps import Step
from busbox.cpu.table import AccessTable

#: What a format reads: one step, or many accesses at once.
Piece = Step | AccessTable


@dataclass(frozen=True)
class Format:
    """One traffic format.

    Attributes
    ----------
    text : one sentence that describes it
    read : function of the file, open in binary mode, and its name; yields pieces. None if write-only
    write : function of the steps; yields chunks of bytes. None if read-only
    """

    text: str
    read: Callable[[IO[bytes], str], Iterator[Piece]] | None = None
    write: Callable[[Iterable[Step]], Iterator[bytes]] | None = None

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
    if found.read is None and found.write is None:
        raise InputError.of(f"{name!r} must read or write; it does neither")
