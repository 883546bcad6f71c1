"""Traffic files: the format is chosen by the suffix; ``.gz`` after it means compressed."""

from __future__ import annotations

import gzip
from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from busbox.basics.errors import InputError, nearest, no_file, one_of, shown
from busbox.basics.files import replacing, text_lines
from busbox.cpu.steps import Step
from busbox.cpu.table import AccessTable, steps_of
from busbox.formats.csv import read_csv, write_csv
from busbox.formats.text import read_text, write_text


@dataclass(frozen=True)
class Format:
    """One traffic format.

    Attributes
    ----------
    read : lines and the file's name to steps, or tables of them
    write : steps to lines
    """

    read: Callable[[Iterable[str], str], Iterator[Step | AccessTable]]
    write: Callable[[Iterable[Step]], Iterator[str]]


#: The formats by suffix.
FORMATS = {".steps": Format(read_text, write_text), ".csv": Format(read_csv, write_csv)}


def check_suffix(path: Path) -> None:
    """Refuse a name whose suffix is that of no format.

    Raises
    ------
    InputError : it is none
    """
    if _suffix_of(path) not in FORMATS:
        known = list(FORMATS)
        suffix = _suffix_of(path)
        if suffix == ".py":
            raise InputError.of(
                f"must name the function too, such as '{path.name}:firmware', not {path.name!r}"
            )
        raise InputError.of(
            f"a traffic file must end in {one_of(known)} (or that and .gz), or be "
            f"FILE.py:FUNCTION, not {shown(path.name)}{nearest(suffix, known)}"
        )


def _suffix_of(path: Path) -> str:
    return Path(path.stem).suffix if path.suffix == ".gz" else path.suffix


def _format_of(path: Path) -> tuple[Format, bool]:
    try:
        check_suffix(path)
    except InputError as error:
        raise InputError.of(str(error), str(path)) from None
    return FORMATS[_suffix_of(path)], path.suffix == ".gz"


def read_traffic(path: Path) -> Iterator[Step]:
    """Return the steps of a file, read as they are asked for (see :func:`read_pieces`).

    Raises
    ------
    InputError : the file cannot be read, or holds something that is no step
    """
    return steps_of(read_pieces(path))


def read_pieces(path: Path) -> Iterator[Step | AccessTable]:
    """Return the steps of a file, many at once where that is faster, read as they are asked for.

    The text is UTF-8, with or without a byte-order mark, with any line ends.

    Raises
    ------
    InputError : the file cannot be read, or holds something that is no step
    """
    chosen, packed = _format_of(path)
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    return chosen.read(text_lines(path, packed), str(path))


def write_traffic(path: Path, steps: Iterable[Step]) -> int:
    """Write steps to a file, and return their number; nothing is there unless all fit the format.

    Raises
    ------
    InputError : a step that the format cannot hold, or the file cannot be written
    """
    chosen, packed = _format_of(path)
    count = 0

    def counted() -> Iterator[Step]:
        nonlocal count
        for step in steps:
            count += 1
            yield step

    with replacing(path) as file, _packer(file) if packed else nullcontext(file) as out:
        for line in _naming(chosen.write(counted()), path):
            out.write(f"{line}\n".encode())
    return count


def _packer(file: IO[bytes]) -> IO[bytes]:
    """Return what packs into ``file``, the same bytes for the same contents."""
    return gzip.GzipFile("", "wb", fileobj=file, mtime=0)  # type: ignore[return-value]


def _naming(lines: Iterator[str], path: Path) -> Iterator[str]:
    """Yield lines; what the format refuses is told with the file's name."""
    try:
        yield from lines
    except InputError as error:
        if any(mistake.where for mistake in error.mistakes):
            raise
        raise InputError.of(str(error), str(path)) from None
