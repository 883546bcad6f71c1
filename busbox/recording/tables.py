"""The tables of a recording as NumPy structured arrays: one array a table, with a type for each column.

======================  ======  =====================================================================
``accesses``                    one row an access
----------------------  ------  ---------------------------------------------------------------------
``start``, ``end`` ...          the columns of :class:`busbox.recording.Accesses`, of the same types
======================  ======  =====================================================================

======================  ======  =====================================================================
``edges``                       one row a level of a pin, in order of pin and cycle
----------------------  ------  ---------------------------------------------------------------------
``pin``                 text    such as ``lamps.line``
``cycle``               i8      the cycle from which the level holds; the first of a pin is cycle 0
``level``               u1      0, 1, or 2 if the device has released the pin
``access``              i4      number of the access that caused it, -1 if none did
======================  ======  =====================================================================

======================  ======  =====================================================================
``characters``                  one row a byte that a slot sent
----------------------  ------  ---------------------------------------------------------------------
``slot``                text    name of the slot
``cycle``               i8      the cycle in which its stop bit ended
``byte``                u1      the byte
``access``              i4      number of the access that caused it, -1 if none did
======================  ======  =====================================================================

======================  ======  =====================================================================
``frames``                      one row per lamp of a frame that a slot meant to send
----------------------  ------  ---------------------------------------------------------------------
``slot``                text    name of the slot
``frame``               i4      number of the frame in its slot, from 0
``cycle``               i8      the cycle of the frame's first bit
``access``              i4      number of the access that caused it, -1 if none did
``lamp``                i4      number of the lamp, from 0
``colour``              u4      0xRRGGBB
======================  ======  =====================================================================

======================  ======  =====================================================================
``marks``                       one row a mark of the traffic
----------------------  ------  ---------------------------------------------------------------------
``cycle``               i8      the cycle of the mark
``text``                text    what it says
======================  ======  =====================================================================

======================  ======  =====================================================================
``findings``                    one row a finding, at most 1000 of a rule
----------------------  ------  ---------------------------------------------------------------------
``rule``                text    id of the rule
``cycle``               i8      when it happened
``access``              i4      number of the access, -1 if none is to blame
``slot``, ``register``  text    names, "" where there is none
``message``, ``hint``   text    what happened and what was expected; one thing to try
``line``                i4      line of the traffic file, -1 if there is none
``pc``                  i8      address of the instruction, -1 if it is not known
``source``              text    function and line of the firmware's source, "" if not known
``doubtful``            ?       whether it lies after the end of what is certain
======================  ======  =====================================================================

Text is Python's ``str`` (type ``O``), so that a column has the same type in every recording.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from busbox.recording.accesses import COLUMNS

if TYPE_CHECKING:
    from busbox.recording.parts import Frame, Line, Text

#: The type of each table: column to type, in order.
TABLES: Mapping[str, Any] = {
    "accesses": np.dtype(list(COLUMNS.items())),
    "edges": np.dtype([("pin", "O"), ("cycle", "i8"), ("level", "u1"), ("access", "i4")]),
    "characters": np.dtype([("slot", "O"), ("cycle", "i8"), ("byte", "u1"), ("access", "i4")]),
    "frames": np.dtype(
        [("slot", "O"), ("frame", "i4"), ("cycle", "i8"), ("access", "i4"), ("lamp", "i4"),
         ("colour", "u4")]
    ),
    "marks": np.dtype([("cycle", "i8"), ("text", "O")]),
    "findings": np.dtype(
        [("rule", "O"), ("cycle", "i8"), ("access", "i4"), ("slot", "O"), ("register", "O"),
         ("message", "O"), ("hint", "O"), ("line", "i4"), ("pc", "i8"), ("source", "O"),
         ("doubtful", "?")]
    ),
}  # fmt: skip


#: What the tables that can be of one thing are of.
_OF = {
    "edges": "pin",
    "characters": "slot that sends bytes",
    "frames": "slot that sends frames",
}


def table(name: str, of: str | None, parts: Mapping[str, Any]) -> NDArray[Any]:
    """Return one of the tables.

    Parameters
    ----------
    of : the pin or slot that it is of; None for all
    parts : name of a table to what it is made of

    Raises
    ------
    KeyError : there is no such table, pin or slot
    """
    if name not in TABLES:
        raise KeyError(f"there is no table {name!r}; the tables are {', '.join(TABLES)}")
    part = parts[name]
    if of is not None:
        if name not in _OF:
            raise KeyError(f"the table {name} is not of one pin or slot, {of!r}")
        if of not in part:
            raise KeyError(f"there is no {_OF[name]} {of!r}; there are {', '.join(part) or 'none'}")
        part = {of: part[of]}
    match name:
        case "accesses":
            return _filled(name, len(part), [part[column] for column in COLUMNS])
        case "edges":
            return _edges(part)
        case "characters":
            return _characters(part)
        case "frames":
            part = list(_lamps(part))
    return np.array(list(part), dtype=TABLES[name])


def _edges(lines: Mapping[str, Line]) -> NDArray[Any]:
    parts = [
        _filled("edges", len(line.cycles), (pin, line.cycles, line.levels, line.accesses))
        for pin, line in lines.items()
    ]
    return _joined("edges", parts)


def _characters(texts: Mapping[str, Text]) -> NDArray[Any]:
    parts = [
        _filled("characters", len(text.cycles), (slot, text.cycles, text.bytes, text.accesses))
        for slot, text in texts.items()
    ]
    return _joined("characters", parts)


def _lamps(frames: Mapping[str, Iterable[Frame]]) -> Iterator[tuple[Any, ...]]:
    for slot, sent in frames.items():
        for number, frame in enumerate(sent):
            for lamp, colour in enumerate(frame.colours):
                yield slot, number, frame.cycle, frame.access, lamp, colour


def _filled(name: str, count: int, columns: Iterable[Any]) -> NDArray[Any]:
    rows = np.empty(count, TABLES[name])
    for column, values in zip(TABLES[name].names, columns, strict=True):
        rows[column] = values
    return rows


def _joined(name: str, parts: list[NDArray[Any]]) -> NDArray[Any]:
    return np.concatenate(parts) if parts else np.empty(0, TABLES[name])
