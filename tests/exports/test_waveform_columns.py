"""Waveform files, written from columns, against a plain writer: byte for byte."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox import load_bench
from busbox.bench.find import packaged_benches, packaged_sets
from busbox.bus.transfers import RESET, TERMINATORS
from busbox.explain.inner_signals import InnerSignal
from busbox.exports import waveform, waveform_changes
from busbox.recording import COLUMNS, Accesses, Line, Recording, SlotInfo
from busbox.system.system import System
from tests.exports import plain_waveform


def alike(
    recording: Recording, system: System | None = None, inner: Sequence[InnerSignal] = ()
) -> None:
    """Compare what both writers make of a recording."""
    texts = []
    for write in (waveform.write_vcd, plain_waveform.write_vcd):
        text = io.StringIO()
        write(recording, text, system, inner)
        texts.append(text.getvalue())
    assert texts[0] == texts[1]


BENCHES = {
    **packaged_benches(),
    **{
        f"{name}/{file.parent.name}": file
        for name, folder in packaged_sets().items()
        for file in sorted(folder.glob("*/bench.toml"))
    },
}


@pytest.mark.parametrize(
    "until", [100_000, pytest.param(None, marks=pytest.mark.long)], ids=["begin", "whole"]
)
@pytest.mark.parametrize("name", BENCHES)
def test_the_file_of_every_bench_is_that_of_the_plain_writer(name: str, until: int | None) -> None:
    """Whatever a bench that comes with Busbox does, both writers give the same bytes."""
    bench = load_bench(BENCHES[name])
    alike(bench.run("python", until), bench.system())


@st.composite
def recordings(draw: st.DrawFn) -> Recording:
    """Draw accesses, resets and pins that no engine would give together, and often in one cycle."""
    delays = draw(st.lists(st.integers(0, 2), max_size=3))
    accesses, cycle = [], 0
    for _ in range(draw(st.integers(0, 12))):
        cycle += draw(st.integers(0 if cycle else 1, 4))
        end = cycle + draw(st.integers(0, 3))
        terminator = draw(st.integers(0, len(TERMINATORS) - 1))
        one = dict.fromkeys(COLUMNS, -1) | {
            "start": cycle,
            "end": end,
            "address": 4 * draw(st.integers(0, 1 << 30) | st.just(0)) % (1 << 32),
            "write": draw(st.booleans()),
            "lanes": draw(st.integers(0, 15)),
            "data": draw(st.integers(0, 2) | st.integers(0, (1 << 32) - 1)),
            "terminator": terminator,
            "slot": draw(st.integers(-1, len(delays) - 1)),
            "pc": draw(st.integers(-1, 2) | st.integers(0, (1 << 32) - 1)),
        }
        accesses.append(one)
        cycle = end if terminator == RESET else end + 1
    resets, after = [], draw(st.integers(0, 4))
    for _ in range(draw(st.integers(0, 4))):
        length = draw(st.integers(1, 3))
        resets.append((after, length))
        after += length + draw(st.integers(0, 5))
    cycles = max(cycle + draw(st.integers(0, 2)), after) + 1
    return replace(
        load_bench("first_light").run(until=1),
        clock_hz=draw(st.sampled_from((1, 3, 16_000_000, 10**12))),
        cycles=cycles,
        accesses=Accesses({name: np.array([one[name] for one in accesses]) for name in COLUMNS}),
        slots=tuple(
            SlotInfo(f"slot_{number}", "gpio", 0, 4, 1, delay, "model")
            for number, delay in enumerate(delays)
        ),
        lines={f"pins.out.{number}": draw(lines(cycles)) for number in range(draw(_FEW))},
        resets=tuple(resets),
    )


_FEW = st.integers(0, 3)


@st.composite
def lines(draw: st.DrawFn, cycles: int) -> Line:
    """Draw the history of a pin."""
    edges = sorted(draw(st.sets(st.integers(1, cycles - 1) if cycles > 1 else st.nothing())))
    levels = [draw(st.integers(0, 2))]
    for _ in edges:
        levels.append((levels[-1] + draw(st.integers(1, 2))) % 3)
    return Line("output", np.array([0, *edges]), np.array(levels, "u1"), np.full(len(levels), -1))


@st.composite
def inner_signals(draw: st.DrawFn, cycles: int) -> InnerSignal:
    """Draw a signal inside a device, of up to 80 bits."""
    width = draw(st.sampled_from((1, 2, 31, 32, 33, 80)))
    edges = sorted(draw(st.sets(st.integers(1, cycles - 1) if cycles > 1 else st.nothing())))
    value = st.integers(0, (1 << width) - 1)
    values = draw(st.lists(value, min_size=len(edges) + 1, max_size=len(edges) + 1))
    path = draw(st.sampled_from(((), ("sender",), ("sender", "clock"))))
    return InnerSignal("slot_0", path, "", width, [0, *edges], values)


def _first(count: int) -> System:
    """Return a system of so many devices."""
    system = load_bench("first_light").system()
    return replace(system, devices=system.devices[:count])


def _named(inner: Sequence[InnerSignal]) -> list[InnerSignal]:
    return [replace(signal, name=f"signal_{number}") for number, signal in enumerate(inner)]


_RELAXED: dict[str, Any] = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.data_too_large],
}


@pytest.mark.quick
@settings(max_examples=80, **_RELAXED)
@given(data=st.data(), recording=recordings(), at_once=st.integers(2, 5) | st.just(100))
def test_any_changes_are_written_as_the_plain_writer_does(
    data: st.DataObject, recording: Recording, at_once: int
) -> None:
    """However changes fall into cycles, and however many are taken at once, the bytes are the same."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(waveform_changes, "AT_ONCE", at_once)
        inner = data.draw(st.lists(inner_signals(recording.cycles), max_size=3))
        alike(recording, _first(len(recording.slots)), _named(inner))
