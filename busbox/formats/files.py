"""Traffic files: the format is chosen by the suffix; ``.gz`` after it means compressed."""

from __future__ import annotations

import gzip
from collections.abc import Callable, Iterable, Iterator
from contextlib import nullcontext, suppress
from functools import partial
from pathlib import Path
from typing import IO, TypeVar, get_args

from busbox.basics.errors import (
    InputError,
    format_value,
    join_or,
    nearest,
    no_file,
)
from busbox.basics.files import opened, replacing
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.hooks import PASSING, HookError, place_of, told
from busbox.cpu.steps import Step
from busbox.cpu.table import steps_of
from busbox.formats.contract import Format, Piece
from busbox.plugins import FORMATS, find, names

T = TypeVar("T")

_PIECES = get_args(Piece)


def suffixes() -> list[str]:
    """Return the suffixes of all formats, including those of plug-ins."""
    return [f".{name}" for name in names(FORMATS)]


def written_suffixes() -> list[str]:
    """Return the suffixes of the formats that are written; a plug-in that does not load is none."""
    found = []
    for name in names(FORMATS):
        with suppress(InputError):
            if find(FORMATS, name).write is not None:
                found.append(f".{name}")
    return found


def is_traffic(path: Path) -> bool:
    """Return whether a file's suffix is that of a format."""
    suffix = _suffix_of(path)
    return suffix[1:] in FORMATS.built_in or suffix in suffixes()


def _suffix_of(path: Path) -> str:
    return Path(path.stem).suffix if path.suffix == ".gz" else path.suffix


def format_of(path: Path) -> Format:
    """Return the format of a file with that name.

    Raises
    ------
    InputError : no format has its suffix, or the format cannot be used
    """
    suffix = _suffix_of(path)
    if not is_traffic(path):
        known = suffixes()
        if suffix == ".py":
            raise InputError.of(
                f"must name the function too, such as '{path.name}:firmware', not {path.name!r}"
            )
        raise InputError.of(
            f"a traffic file must end in {join_or(known)} (optionally followed by .gz), or be "
            f"FILE.py:FUNCTION, not {format_value(path.name)}{nearest(suffix, known)}"
        )
    found: Format = find(FORMATS, suffix[1:])
    return found


def _named_format(path: Path) -> Format:
    try:
        return format_of(path)
    except InputError as error:
        raise InputError.of(str(error), str(path)) from None


def read_traffic(path: Path, chosen: Format | None = None) -> Iterator[Step]:
    """Return the steps of a file, read on demand (see :func:`read_pieces`).

    Raises
    ------
    InputError : the file cannot be read, or contains something that is not a step
    """
    return steps_of(read_pieces(path, chosen))


def read_pieces(path: Path, chosen: Format | None = None) -> Iterator[Piece]:
    """Return the steps of a file, read on demand, many at once where that is faster.

    Parameters
    ----------
    chosen : the format; None for that of the suffix

    Raises
    ------
    InputError : the file cannot be read, or contains something that is not a step
    """
    found = chosen or _named_format(path)
    if found.read is None and found.of_signals is not None:
        text = "holds the signals of a bus: a map must say which is what, [traffic.signals] in a bench "
        raise InputError.of(text + "or --signals MAP in busbox convert", str(path))
    if found.read is None:
        raise InputError.of("has a format that can be written but not read", str(path))
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    return _guarded(partial(_pieces, found, path), path)


def _pieces(found: Format, path: Path) -> Iterator[Piece]:
    assert found.read is not None
    with opened(path, packed=path.suffix == ".gz") as file:
        for piece in found.read(file, str(path)):
            if not isinstance(piece, _PIECES):
                text = f"its format must yield steps, not {format_value(piece)}"
                raise HookError.of(f"{text}{place_of(found.read)}", str(path))
            yield piece


def write_traffic(path: Path, steps: Iterable[Step], chosen: Format | None = None) -> int:
    """Write steps to a file, and return their number; nothing is written unless all fit the format.

    Parameters
    ----------
    chosen : the format; None for that of the suffix

    Raises
    ------
    InputError : a step that the format cannot hold, or the file cannot be written
    """
    found, packed = chosen or _named_format(path), path.suffix == ".gz"
    if found.write is None:
        raise InputError.of("has a format that can be read but not written", str(path))
    count = 0

    def counted() -> Iterator[Step]:
        nonlocal count
        for step in steps:
            count += 1
            yield step

    with (
        limited_hooks(),
        replacing(path) as file,
        _packer(file) if packed else nullcontext(file) as out,
    ):
        for chunk in _guarded(partial(found.write, counted()), path):
            if not isinstance(chunk, bytes | bytearray | memoryview):
                text = f"its format must yield bytes, not {format_value(chunk)}"
                raise HookError.of(f"{text}{place_of(found.write)}", str(path))
            out.write(chunk)
    return count


def _packer(file: IO[bytes]) -> IO[bytes]:
    """Return a compressing writer for ``file``: the same contents give the same bytes."""
    return gzip.GzipFile("", "wb", fileobj=file, mtime=0)  # type: ignore[return-value]


def _guarded(make: Callable[[], Iterator[T]], path: Path) -> Iterator[T]:
    """Yield what a format gives; errors that it raises are reported with the file's name."""
    try:
        yield from make()
    except InputError as error:
        if any(mistake.where for mistake in error.mistakes):
            raise
        raise InputError.of(str(error), str(path)) from None
    except OSError:
        raise
    except PASSING:
        raise
    except BaseException as error:
        raise HookError.of(f"its format raised {told(error, make)}", str(path)) from error
