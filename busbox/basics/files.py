"""Files: reading lines of text, and writing files atomically."""

from __future__ import annotations

import gzip
import os
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from busbox.basics.errors import InputError


def text_lines(path: Path) -> Iterator[str]:
    """Yield the lines of a text file in UTF-8, without their ends and without a byte-order mark.

    Raises
    ------
    InputError : the file cannot be read, or is not UTF-8
    """
    with opened(path) as file:
        yield from lines_in(file, str(path))


@contextmanager
def opened(path: Path, packed: bool = False) -> Iterator[IO[bytes]]:
    """Open a file for reading bytes; ``packed``: decompress it as gzip.

    Raises
    ------
    InputError : the file cannot be read
    """
    try:
        with gzip.open(path) if packed else path.open("rb") as file:
            yield file  # type: ignore[misc]
    except (gzip.BadGzipFile, EOFError, zlib.error):
        raise InputError.of(
            "is not a valid gzip file, although its name ends in .gz", str(path)
        ) from None
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", str(path)) from None


def lines_in(file: Iterable[bytes], name: str, before: int = 0) -> Iterator[str]:
    """Yield the lines of an open text file, without their ends and without a byte-order mark.

    Parameters
    ----------
    before : lines of the text that have been read before

    Raises
    ------
    InputError : it is not UTF-8 text
    """
    count = before
    try:
        for raw in file:
            for part in raw.splitlines() or [b""]:
                count += 1
                yield part.decode("utf-8-sig" if count == 1 else "utf-8")
    except UnicodeDecodeError as error:
        text = f"must be UTF-8 text, not byte {error.object[error.start]:#04x}"
        raise InputError.of(text, name, count) from None


def replace_file(path: Path, contents: bytes) -> None:
    """Write a file under a temporary name and move it into place, so that it is never half written.

    Raises
    ------
    InputError : the file cannot be written
    """
    with replacing(path) as file:
        file.write(contents)


@contextmanager
def replacing(path: Path) -> Iterator[IO[bytes]]:
    """Open a temporary file for writing, and move it to ``path`` at the end.

    Raises
    ------
    InputError : the file cannot be written
    """
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with beside.open("wb") as file:
            yield file
        os.replace(beside, path)
    except OSError as error:
        raise InputError.of(f"cannot be written: {error.strerror}", str(path)) from None
    finally:
        with suppress(OSError):
            beside.unlink()
