"""Files: reading lines of text, and writing files atomically."""

from __future__ import annotations

import gzip
import io
import os
import re
import shutil
import stat
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from itertools import count
from pathlib import Path
from typing import IO, Any

from busbox.basics.errors import InputError, no_file, no_plain_file
from busbox.basics.limits import LINE, MIB, RATIO, Limit

#: Numbers for temporary files: threads of a process may write the same file.
_NUMBERS = count()
#: Bytes that a gzip file may unpack to, however small it is.
_FREE = 64 * MIB
#: What a command has read: device and number of each file; None where no command runs.
_inputs: set[tuple[int, int]] | None = None


@contextmanager
def inputs_kept() -> Iterator[None]:
    """Within it, a file that was read is not written: an output that is an input would destroy it."""
    global _inputs
    before, _inputs = _inputs, set()
    try:
        yield
    finally:
        _inputs = before


def note_read(path: Path) -> None:
    """Note that a file is read; see :func:`inputs_kept`."""
    if _inputs is not None:
        with suppress(OSError, ValueError):
            found = os.stat(path)
            _inputs.add((found.st_dev, found.st_ino))


def _check_no_input(path: Path) -> None:
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return
    if _inputs and (found.st_dev, found.st_ino) in _inputs:
        raise InputError.of(
            "cannot be written: this command reads it; name another file", str(path)
        )


def read_file(path: Path, limit: Limit, where: str | None = None) -> bytes:
    """Return the bytes of a file, which is read into memory as a whole.

    Parameters
    ----------
    limit : how many bytes it may have
    where : how messages call it; its path if that is None

    Raises
    ------
    InputError : it is a FIFO or a device, cannot be read, or is above the limit
    """
    name = str(path) if where is None else where
    problem = no_plain_file(path)
    if problem:
        raise InputError.of(problem.replace(repr(str(path)), repr(name), 1))
    note_read(path)
    try:
        with path.open("rb") as file:
            contents = file.read(limit.most + 1)
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", name) from None
    except ValueError:
        raise InputError.of("cannot be read: a name cannot hold a zero byte", name) from None
    limit.check(contents, "the file", name)
    return contents


def text_lines(path: Path) -> Iterator[str]:
    """Yield the lines of a text file in UTF-8, without their ends and without a byte-order mark.

    Raises
    ------
    InputError : it is no file, cannot be read, or is not UTF-8
    """
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    with opened(path) as file:
        yield from lines_in(file, str(path))


@contextmanager
def opened(path: Path, packed: bool = False) -> Iterator[IO[bytes]]:
    """Open a file for reading bytes; ``packed``: decompress it as gzip.

    Raises
    ------
    InputError : the file cannot be read
    """
    note_read(path)
    try:
        with path.open("rb") as file:
            if packed and not os.fstat(file.fileno()).st_size:
                raise EOFError  # gzip has a head even where it packs nothing
            yield io.BufferedReader(_Unpacked(file, str(path)), 1 << 16) if packed else file
    except (gzip.BadGzipFile, EOFError, zlib.error):
        raise InputError.of(
            "is not a valid gzip file, although its name ends in .gz", str(path)
        ) from None
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", str(path)) from None


class _Unpacked(io.RawIOBase):
    """What a gzip file unpacks to; one that grows far beyond its size is refused."""

    def __init__(self, file: IO[bytes], name: str) -> None:
        self._file, self._name = gzip.GzipFile(fileobj=file, mode="rb"), name
        self._size, self._most = 0, max(_FREE, RATIO.most * os.fstat(file.fileno()).st_size)

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        data = self._file.read1(len(buffer))
        self._size += len(data)
        if self._size > self._most:
            raise InputError.of(RATIO.exceeded("what it unpacks to"), self._name)
        buffer[: len(data)] = data
        return len(data)


def lines_in(file: Iterable[bytes], name: str, before: int = 0) -> Iterator[str]:
    """Yield the lines of an open text file, without their ends and without a byte-order mark.

    Parameters
    ----------
    before : lines of the text that have been read before

    Raises
    ------
    InputError : it is not UTF-8 text, or a line is too long
    """
    number, most = before, LINE.most
    readline = getattr(file, "readline", None)
    try:
        for raw in file if readline is None else iter(partial(readline, most + 1), b""):
            if len(raw) > most:
                raise InputError.of(LINE.exceeded("a line"), name, number + 1)
            for part in raw.splitlines() or [b""]:
                number += 1
                yield part.decode("utf-8-sig" if number == 1 else "utf-8")
    except UnicodeDecodeError as error:
        text = f"must be UTF-8 text, not byte {error.object[error.start]:#04x}"
        raise InputError.of(text, name, number) from None


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it, unless it is there.

    Raises
    ------
    InputError : it cannot be made
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError.of(f"cannot be made: {error.strerror}", str(folder)) from None


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

    A link stays: the file that it leads to is replaced. A device or a FIFO stays, and is written to.

    Raises
    ------
    InputError : the file cannot be written
    """
    real = Path(os.path.realpath(path))
    beside = real.with_name(f".{real.name}.{os.getpid()}.{next(_NUMBERS)}.part")
    try:
        stays = stat.S_IFMT(os.stat(real).st_mode) not in (stat.S_IFREG, 0)
    except (OSError, ValueError):
        stays = False
    try:
        if not stays:
            _check_no_input(path)
            remove_left_over(real.parent, real.name)
        with (real if stays else beside).open("wb") as file:
            yield file
        if not stays:
            _check_no_input(path)
            os.replace(beside, real)
    except ValueError as error:
        if "null" not in str(error):
            raise
        raise InputError.of(
            "cannot be written: a name cannot hold a zero byte", str(path)
        ) from None
    except OSError as error:
        raise InputError.of(f"cannot be written: {error.strerror}", str(path)) from None
    finally:
        if not stays:
            with suppress(OSError, ValueError):
                beside.unlink()


def remove_left_over(folder: Path, name: str) -> None:
    """Remove what processes that are no more have left of a file or folder half-written.

    Parameters
    ----------
    folder : where ``name`` is written: beside it stands ``.NAME.PID.part`` or ``.NAME.PID.N.part``
        meanwhile
    """
    known = re.compile(rf"\.{re.escape(name)}\.([0-9]{{1,10}})(?:\.[0-9]+)?\.part")
    try:
        found = [(entry, known.fullmatch(entry)) for entry in os.listdir(folder)]
    except OSError:
        return
    for entry, match in found:
        if match is not None and not _lives(int(match[1])):
            left = folder / entry
            with suppress(OSError):
                if left.is_dir() and not left.is_symlink():
                    shutil.rmtree(left)
                else:
                    left.unlink()


def _lives(process: int) -> bool:
    """Return whether there may be a process of that number."""
    if os.name != "posix":  # a file that is open there cannot be removed
        return process == os.getpid()
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True
