"""Traffic files: the format is chosen by the suffix; ``.gz`` after it means compressed."""

from __future__ import annotations

import gzip
import io
import os
import zlib
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from busbox.errors import InputError, nearest, no_file, one_of, shown
from busbox.traffic.columns import read_csv, write_csv
from busbox.traffic.steps import Step
from busbox.traffic.text import read_text, write_text


@dataclass(frozen=True)
class Format:
    """One traffic format.

    Attributes
    ----------
    read : lines and the file's name to steps
    write : steps to lines
    """

    read: Callable[[Iterable[str], str], Iterator[Step]]
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


def read_traffic(path: Path) -> list[Step]:
    """Return all steps of a file (UTF-8, with or without a byte-order mark, any line ends).

    Raises
    ------
    InputError : the file cannot be read, or holds something that is no step
    """
    chosen, packed = _format_of(path)
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    try:
        contents = path.read_bytes()
        if packed:
            contents = gzip.decompress(contents)
        text = contents.decode("utf-8-sig")
    except (gzip.BadGzipFile, EOFError, zlib.error):
        raise InputError.of(
            "must be a gzip file, as its name ends in .gz; it is none, or is spoiled", str(path)
        ) from None
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", str(path)) from None
    except UnicodeDecodeError as error:
        line = contents[: error.start].count(b"\n") + 1
        raise InputError.of(
            f"must be UTF-8 text, not byte {contents[error.start]:#04x}", str(path), line
        ) from None
    return list(chosen.read(io.StringIO(text, newline=None), str(path)))


def write_traffic(path: Path, steps: Iterable[Step]) -> None:
    """Write steps to a file; nothing is there unless all of them fit the format.

    Raises
    ------
    InputError : a step that the format cannot hold, or the file cannot be written
    """
    chosen, packed = _format_of(path)
    try:
        text = "".join(line + "\n" for line in chosen.write(steps))
    except InputError as error:
        raise InputError.of(str(error), str(path)) from None
    contents = text.encode("utf-8")
    replace_file(path, gzip.compress(contents, mtime=0) if packed else contents)


def replace_file(path: Path, contents: bytes) -> None:
    """Write a file beside its place and move it there, so that it is never half written.

    Raises
    ------
    InputError : the file cannot be written
    """
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(contents)
        os.replace(beside, path)
    except OSError as error:
        with suppress(OSError):
            beside.unlink()
        raise InputError.of(f"cannot be written: {error.strerror}", str(path)) from None
