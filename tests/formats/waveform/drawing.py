"""Drawn accesses, the signals of a bus that shows them, and the waveform of these signals.

What must come back follows from the drawn accesses alone, not from the signals: no code is shared with
the reader.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pytest
from hypothesis import strategies as st

from busbox.basics.errors import Mistake
from busbox.cpu.steps import AccessStep, Pause
from busbox.cpu.table import steps_of
from busbox.formats.contract import SignalRequest
from busbox.formats.waveform import vcd
from busbox.formats.waveform.importing import of_waveform

#: A cycle: the value of each signal, a number or text such as ``xxxx``.
Cycle = dict[str, int | str]
X = "x"


@dataclass(frozen=True)
class Drawn:
    """One access as it was drawn: idle cycles before it, cycles until it ends, and what it does."""

    idle: int
    length: int
    write: bool
    address: int
    data: int
    lanes: int
    end: str


def drawn(most: int = 8, ends: tuple[str, ...] = ("ack",)) -> st.SearchStrategy[list[Drawn]]:
    """Return accesses of a bus of 32 bits."""
    word = st.integers(0, 0xFFFF_FFFF)
    one = st.builds(
        Drawn, st.integers(0, 3), st.integers(0, 3), st.booleans(),
        st.integers(0, 0x3FFF_FFFF).map(lambda number: 4 * number), word, st.integers(1, 15),
        st.sampled_from(ends),
    )  # fmt: skip
    return st.lists(one, max_size=most)


def step(one: Drawn, wait: int, *, reads_all: bool) -> AccessStep:
    """Return the step that an access must become."""
    lanes = 15 if reads_all and not one.write else one.lanes
    data = one.data if one.write or one.end == "ack" else None
    return AccessStep(one.write, one.address, data, lanes, wait)


def text_of(
    widths: Mapping[str, int], cycles: list[Cycle], period: int = 10, clock_last: bool = False
) -> str:
    """Return the waveform: a clock ``clk`` whose edge at the end of cycle k is at (k + 1) * period.

    The signals of a cycle change at the time of the edge that ends the cycle before: in the file
    before that edge, or after it (``clock_last``).
    """
    codes = {name: chr(34 + place) for place, name in enumerate(widths)}
    lines = ["$timescale 1 ns $end", "$scope module top $end", "$var wire 1 ! clk $end"]
    lines += [f"$var wire {width} {codes[name]} {name} $end" for name, width in widths.items()]
    lines += ["$upscope $end", "$enddefinitions $end"]
    before: Cycle = {}
    for number, cycle in enumerate([*cycles, {}]):
        changes = [
            _change(codes[name], widths[name], value)
            for name, value in cycle.items()
            if before.get(name) != value
        ]
        clock = ["1!"] if number else ["0!"]
        lines += [f"#{number * period}", *(changes + clock if clock_last else clock + changes)]
        if cycle:
            lines += [f"#{number * period + period // 2}", "0!"]
        before = before | cycle
    return "\n".join(lines) + "\n"


def _change(code: str, width: int, value: int | str) -> str:
    if isinstance(value, int):
        return f"{value}{code}" if width == 1 else f"b{value:b} {code}"
    return f"{value}{code}" if width == 1 else f"b{value} {code}"


def imported(
    text: str | bytes,
    table: Mapping[str, object],
    *,
    piece: int = 1 << 20,
    clock_hz: int | None = None,
    inside: Callable[[int], bool] | None = None,
) -> tuple[list[AccessStep | Pause], tuple[str, ...]]:
    """Return the steps of a waveform, and the notes; read in pieces of so many bytes."""
    told: list[tuple[str, ...]] = []
    data = text.encode() if isinstance(text, str) else text
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(vcd, "PIECE", piece)
        request = SignalRequest(
            table,
            lambda key, text: Mistake(text, "map", key=key),
            clock_hz,
            inside,
            None,
            told.append,
        )
        read = of_waveform(request).read
        assert read is not None
        steps = list(steps_of(read(io.BytesIO(data), "bus.vcd")))
    (notes,) = told
    return steps, notes  # type: ignore[return-value]


def named(kind: str, names: Mapping[str, int], **others: object) -> dict[str, object]:
    """Return the map of signals that are called as their roles."""
    keys = {name: f"top.{name}" for name in names}
    return {"kind": kind, "clock": "top.clk", **keys, **others}


def waits(starts: list[int], ends: list[int]) -> Iterator[int]:
    """Yield idle cycles since the last access ended; cycle 0 counts as an end (semantics, 10)."""
    last = 0
    for start, end in zip(starts, ends, strict=True):
        yield max(start - last - 1, 0)
        last = max(last, end)


def folder_file(folder: Path, text: str | bytes, name: str = "bus.vcd") -> str:
    """Write a file and return its name."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return str(path)
