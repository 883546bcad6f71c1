"""The file of a recording: NumPy columns, and one JSON text with the rest.

A file ``*.recording.npz`` is an archive of columns, as NumPy writes them; ``facts`` is the JSON text in
UTF-8, with ``kind`` and ``version``. Files that the bench names stand under ``file/NAME``.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from busbox.basics.errors import InputError, no_plain_file
from busbox.basics.files import note_read, replacing
from busbox.basics.growing import Column
from busbox.basics.limits import FACT_PARTS, FACTS, PARTS, UNPACKED
from busbox.recording.accesses import COLUMNS, IntColumn

KIND = "recording"
#: Versions 1 and 2 lack facts that findings follow from (polls and awaits that were given up, broken
#: rules of the bus ...), and the bench: they cannot be judged, and are refused.
VERSION = 7
#: What the name of a recording's file ends in.
SUFFIX = ".recording.npz"

#: Bit of a part's flags that says that it is encrypted, and how a part may be packed. Source:
#: .ZIP File Format Specification 6.3.10, 4.4.4 and 4.4.5.
_ENCRYPTED, _PACKED = 1, (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
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
    note_read(path)
    problem = no_plain_file(path)
    if problem:
        raise InputError.of(problem)
    try:
        with zipfile.ZipFile(path) as stored:
            arrays = _columns(stored, str(path))
        facts = dict(json.loads(_facts(arrays["facts"], str(path))))
    except InputError:
        raise
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror or error}", str(path)) from None
    except RecursionError:
        raise InputError.of("is not a Busbox recording: nested too deeply", str(path)) from None
    except Exception:  # the readers raise many kinds on altered files
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


def _columns(stored: zipfile.ZipFile, where: str) -> dict[str, IntColumn]:
    """Return all arrays of the file."""
    members = stored.infolist()
    PARTS.check(members, "it", where)
    left = UNPACKED.most
    arrays: dict[str, IntColumn] = {}
    for member in members:
        if member.flag_bits & _ENCRYPTED or member.compress_type not in _PACKED:
            raise ValueError("a part must be stored or deflated, and readable")
        name = member.filename.removesuffix(".npy")
        wanted = COLUMNS.get(name.removeprefix("access/")) if name.startswith("access/") else None
        wanted = "u1" if name == "facts" or name.startswith("file/") else wanted
        arrays[name] = column = _read_column(stored, member, name, left, where)
        if wanted is not None and column.dtype != np.dtype(wanted):
            raise TypeError(f"{name} must be of the type {wanted}")
        left -= column.nbytes
    return arrays


def _read_column(
    stored: zipfile.ZipFile, member: zipfile.ZipInfo, name: str, left: int, where: str
) -> IntColumn:
    """Return one array of the file, read piece by piece: a long one does not stay in memory.

    Parameters
    ----------
    left : bytes that it may unpack to
    """
    with stored.open(member) as file:
        version = np.lib.format.read_magic(file)
        if version != (1, 0):
            raise ValueError("a column must have a header of version 1.0")
        shape, _, kind = np.lib.format.read_array_header_1_0(file)
        if len(shape) != 1 or kind.kind not in "biu" or kind.itemsize not in (1, 2, 4, 8):
            raise ValueError("a column must be a row of whole numbers")
        size = shape[0] * kind.itemsize
        if size > left:
            raise InputError.of(UNPACKED.exceeded("what it unpacks to"), where)
        if name == "facts":
            FACTS.check(size, "the part 'facts'", where)
        column = Column(kind.str)
        while piece := file.read(_PIECE // kind.itemsize * kind.itemsize):
            size -= len(piece)
            if size < 0:
                raise ValueError("a column must be as long as its header says")
            column.extend(np.frombuffer(piece, dtype=kind))
    if size:
        raise ValueError("a column must be as long as its header says")
    return column.array()


def _facts(column: IntColumn, where: str) -> bytes:
    """Return the JSON text; one of more parts than the limit is refused before it is read."""
    text = column.tobytes()
    FACT_PARTS.check(text.count(b"[") + text.count(b"{"), "the part 'facts'", where)
    return text
