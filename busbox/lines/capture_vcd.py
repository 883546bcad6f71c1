"""Edges of a waveform file (VCD, IEEE 1364-2005, clause 18)."""

from __future__ import annotations

import io
import math

import numpy as np

from busbox.basics.errors import InputError
from busbox.formats.waveform.tokens import Values
from busbox.formats.waveform.vcd import LONGEST, Array, VcdReader
from busbox.lines.tracks import waves_of
from busbox.lines.wave import Wave


def read_vcd(data: bytes, where: str) -> dict[str, Wave]:
    """Return the waves of all variables of one bit, by their names with scopes, in the file's order.

    A level of x or z counts as the level before. Changes before the first time belong to time 0.

    Parameters
    ----------
    data : the file's contents
    where : the file, for messages

    Raises
    ------
    InputError : it is not such a file; with the line
    """
    reader = VcdReader(io.BytesIO(data), where)
    names = {one.name: one.code for one in reader.header.variables if one.width == 1}
    lines = {one.code: one for one in reader.header.variables if one.width == 1}
    parts: list[list[tuple[Array, Values]]] = [[] for _ in lines]
    step, last = 0, None
    for changes in reader.changes(list(lines.values())):
        for kept, part in zip(parts, zip(changes.times, changes.values, strict=True), strict=True):
            kept.append(part)
        step = math.gcd(step, int(np.gcd.reduce(changes.stamps)) if len(changes.stamps) else 0)
        last = changes.last
    if not lines:
        raise InputError.of("must declare a variable of one bit", where, reader.line)
    if last is None:
        raise InputError.of("must have a time, such as #0", where, reader.line)
    if last > LONGEST:
        raise InputError.of(f"a time must be at most {LONGEST}, not {last}", where, reader.line)
    step = step or 1
    tracks = {code: _track(part, step) for code, part in zip(lines, parts, strict=True)}
    named = {name: tracks[code] for name, code in names.items()}
    return waves_of(named, last // step, reader.header.unit * step)


def _track(parts: list[tuple[Array, Values]], step: int) -> tuple[Array, Array]:
    """Return the times, in steps, and the levels; of several at one time, the last."""
    times = np.concatenate([np.zeros(0, dtype="i8"), *(times for times, _ in parts)])
    none = Values(np.zeros(0, dtype="u8"), np.zeros(0, dtype="u8"))
    values = Values.joined(none, *(values for _, values in parts))
    known = values.unknown == 0
    times, levels = times[known], values.ones[known].astype("u1")
    final = np.ones(len(times), dtype=bool)
    final[:-1] = times[1:] != times[:-1]
    return times[final] // step, levels[final]
