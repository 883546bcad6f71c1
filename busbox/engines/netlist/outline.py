"""What lives in a program, without its expressions: all that code made of it needs to be run."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from typing import Any, NamedTuple


class Number(NamedTuple):
    """A port or register: its name, its width, and its value at the start."""

    name: str
    width: int
    init: int


class Words(NamedTuple):
    """A memory: ``init`` has a number for each word."""

    name: str
    width: int
    depth: int
    init: Sequence[int]


@dataclass(frozen=True)
class Outline:
    """Ports, registers and memories of a program, in its order.

    Attributes
    ----------
    outputs : they begin as 0
    unexecuted : hierarchical names of prints and checks, which are not carried out
    """

    inputs: tuple[Number, ...]
    outputs: tuple[Number, ...]
    registers: tuple[Number, ...]
    memories: tuple[Words, ...]
    unexecuted: tuple[str, ...]

    def line(self) -> bytes:
        """Return it as one line of text."""
        return json.dumps(astuple(self)).encode() + b"\n"

    @classmethod
    def of_line(cls, line: bytes) -> Outline:
        """Return the outline that :meth:`line` wrote."""
        found: list[list[Any]] = json.loads(line)
        inputs, outputs, registers = (tuple(Number(*one) for one in part) for part in found[:3])
        memories = tuple(
            Words(name, width, depth, tuple(init)) for name, width, depth, init in found[3]
        )
        return cls(inputs, outputs, registers, memories, tuple(found[4]))
