"""Traffic files: the format is chosen by the suffix; ``.gz`` after it means compressed."""

from __future__ import annotations

import gzip
import io
import os
import zlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from busbox.errors import InputError, nearest, one_of
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


def _format_of(path: Path) -> tuple[Format, bool]:
    packed = path.suffix == ".gz"
    suffix = Path(path.stem).suffix if packed else path.suffix
    if suffix not in FORMATS:
        known = list(FORMATS)
        raise InputError.of(
            f"a traffic file must end in {one_of(known)} (or that and .gz), "
            f"not {suffix or 'nothing'}{nearest(suffix, known)}",
            str(path),
        )
    return FORMATS[suffix], packed


def read_traffic(path: Path) -> list[Step]:
    """Return all steps of a file (UTF-8, with or without a byte-order mark, any line ends).

    Raises
    ------
    InputError : the file cannot be read, or holds something that is no step
    """
    chosen, packed = _format_of(path)
    try:
        contents = path.read_bytes()
        if packed:
            contents = gzip.decompress(contents)
        text = contents.decode("utf-8-sig")
    except (gzip.BadGzipFile, EOFError, zlib.error):
        raise InputError.of("is not a good .gz file", str(path)) from None
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
        beside.unlink(missing_ok=True)
        raise InputError.of(f"cannot be written: {error.strerror}", str(path)) from None
