"""The file of a recording: NumPy columns, and one JSON text with the rest.

A file ``*.recording.npz`` is an archive of columns, as NumPy writes them; ``facts`` is the JSON text in
UTF-8, with ``kind`` and ``version``. Files that the bench names stand under ``file/NAME``.
"""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from busbox.basics.errors import InputError
from busbox.basics.files import replacing
from busbox.basics.growing import Column
from busbox.recording.accesses import IntColumn

KIND = "recording"
#: Versions 1 and 2 lack facts that findings follow from (polls and awaits that were given up, broken
#: rules of the bus ...), and the bench: they cannot be judged, and are refused.
VERSION = 6
#: What the name of a recording's file ends in.
SUFFIX = ".recording.npz"

#: Bytes of a column that are read in one go.
_PIECE = 1 << 20


def write(path: str | Path, arrays: Mapping[str, IntColumn], facts: Mapping[str, Any]) -> None:
    """Write the file of a recording; an existing file is replaced atomically.

    Raises
    ------
    InputError : the name does not end in .recording.npz, or the file cannot be written
    """
    path = Path(path)
    if not path.name.endswith(SUFFIX):
        raise InputError.of(f"a recording's name must end in {SUFFIX}", str(path))
    text = json.dumps({**facts, "kind": KIND, "version": VERSION})
    stored = {**arrays, "facts": np.frombuffer(text.encode("utf-8"), dtype="u1")}
    with replacing(path) as file:
        np.savez_compressed(file, **stored)  # type: ignore[arg-type]


def read(path: Path) -> tuple[dict[str, IntColumn], dict[str, Any]]:
    """Return the columns and the facts of a recording's file.

    Raises
    ------
    InputError : the file cannot be read, is not a recording, or is of another version
    """
    try:
        with zipfile.ZipFile(path) as stored:
            arrays = {
                name.removesuffix(".npy"): _read_column(stored, name) for name in stored.namelist()
            }
        facts = dict(json.loads(bytes(arrays["facts"])))
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror or error}", str(path)) from None
    except (ValueError, TypeError, KeyError, EOFError, zipfile.BadZipFile, zlib.error):
        raise InputError.of("is not a Busbox recording", str(path)) from None
    if facts.get("kind") != KIND:
        raise InputError.of(f"must be of kind {KIND!r}, not {facts.get('kind')!r}", str(path))
    version = facts.get("version")
    if version != VERSION:
        older = isinstance(version, int) and 0 < version < VERSION
        why = "; it lacks facts that judging needs, so run its bench again" if older else ""
        raise InputError.of(
            f"has version {version}; this Busbox reads version {VERSION}{why}", str(path)
        )
    return arrays, facts


def _read_column(stored: zipfile.ZipFile, name: str) -> IntColumn:
    """Return one array of the file, read piece by piece: a long one does not stay in memory."""
    with stored.open(name) as file:
        version = np.lib.format.read_magic(file)
        if version != (1, 0):
            raise ValueError("a column must have a header of version 1.0")
        shape, _, kind = np.lib.format.read_array_header_1_0(file)
        if len(shape) != 1 or kind.hasobject:
            raise ValueError("a column must be a row of numbers")
        column = Column(kind.str)
        while piece := file.read(_PIECE // kind.itemsize * kind.itemsize):
            column.extend(np.frombuffer(piece, dtype=kind))
    if len(column) != shape[0]:
        raise ValueError("a column must be as long as its header says")
    return column.array()
