"""A binary traffic format: records of eight bytes, address and word, little-endian; writes only."""

import struct
from collections.abc import Iterable, Iterator
from typing import IO

from busbox.basics.errors import InputError
from busbox.cpu.steps import AccessStep, Step
from busbox.formats.contract import Format

RECORD = struct.Struct("<II")


def read(file: IO[bytes], name: str) -> Iterator[AccessStep]:
    """Yield the writes of a file."""
    while record := file.read(RECORD.size):
        if len(record) < RECORD.size:
            raise InputError.of(
                f"must hold records of {RECORD.size} bytes; the last is cut short", name
            )
        address, data = RECORD.unpack(record)
        yield AccessStep(True, address, data)


def write(steps: Iterable[Step]) -> Iterator[bytes]:
    """Yield the records of writes."""
    for number, step in enumerate(steps, start=1):
        if not (isinstance(step, AccessStep) and step.write and isinstance(step.target, int)):
            raise InputError.of(f"step {number}: bells hold writes by number only")
        if (step.lanes, step.wait, step.pc) != (0b1111, 0, None):
            raise InputError.of(f"step {number}: bells hold no lanes, waits or pc")
        yield RECORD.pack(step.target, step.data)


BELLS = Format("Writes of eight bytes each: address and word.", read, write)
