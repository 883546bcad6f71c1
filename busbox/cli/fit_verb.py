"""``busbox fit``."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from busbox.basics.errors import InputError, Mistake, limited
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    json_option,
    open_bench,
    paper,
    print_json,
    set_option,
)
from busbox.core.image import Memory
from busbox.core.instructions import CLASSES
from busbox.cpu.steps import AccessStep, Mark, Pause, Step
from busbox.formats.files import read_traffic
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.core.setup import CoreSetup
    from busbox.explain.again import Row
    from busbox.explain.fit import Fit
    from busbox.firmware.program import Firmware

#: Waits without an explanation that are shown.
SHOWN = 8


@click.command("fit")
@bench_argument
@click.argument("recording", metavar="RECORDING", shell_complete=completing.files)
@set_option
@json_option
def command(bench: str, recording: str, values: tuple[str, ...], as_json: bool) -> int:
    """Find the clocks of a core from what it was recorded to do.

    BENCH has a program as its traffic; RECORDING is a traffic file with the accesses that a core in
    hardware or in a simulation of its own made while it executed that program, each with its wait and,
    better, its pc (busbox guide firmware). The program is executed again, with the recorded words as
    answers; the table [core.clocks] is printed that explains most waits.
    """
    from busbox.explain.again import Differs
    from busbox.explain.fit import fit

    system = open_bench(bench, values).system()
    setup = _core_of(system, bench)
    rows, waits, lines = _rows(read_traffic(Path(recording)), system, recording)
    firmware = _firmware(system)
    try:
        found = fit(setup, rows, waits)
    except Differs as error:
        where = _place(error.pc, firmware)
        text = (
            f"access {error.number}: {error.what}, at pc {where}{_hint(setup, rows[error.number])}"
        )
        raise InputError.of(text, recording, lines[error.number]) from None
    if as_json:
        print_json(_object(found, setup, rows, firmware))
    else:
        page = paper()
        _write(found, setup, rows, firmware, recording, page)
        page.print()
    return 0


def _core_of(system: System, name: str) -> CoreSetup:
    """Return the core whose clocks can be found.

    Raises
    ------
    InputError : the traffic is no program, or interrupts change what is executed
    """
    if system.core is None:
        text = "must have a program as its traffic, such as [traffic] file = 'cabin.elf'"
        raise InputError.of(f"{text}, not {Path(system.traffic).name or 'steps'}", name)
    if system.core.lines:
        pins = ", ".join(system.core.lines)
        text = (
            f"the core has interrupt lines ({pins}), and a recording of accesses does not say when "
        )
        text += "it was interrupted; record a program that works without interrupts, and leave out "
        raise InputError.of(f"{text}interrupt in [core]", name)
    return system.core


def _rows(
    steps: Iterable[Step], system: System, source: str
) -> tuple[list[Row], list[int], list[int | None]]:
    """Return the accesses, the wait before each, and the line of each.

    Raises
    ------
    InputError : with everything that is not a recorded access
    """
    from busbox.explain.again import Row
    from busbox.run.ledger import address_of

    rows: list[Row] = []
    waits: list[int] = []
    lines: list[int | None] = []
    mistakes: list[Mistake] = []
    pause = 0
    for number, step in enumerate(steps, 1):
        line = getattr(step, "line", None)
        if isinstance(step, Pause):
            pause += step.span.in_cycles(system.clock_hz)
        elif isinstance(step, AccessStep):
            if step.data is None:
                mistakes.append(Mistake("a read must have the word that was read", source, line))
                continue
            try:
                address = address_of(step.target, system)
            except ValueError as error:
                mistakes.append(Mistake(str(error), source, line))
                continue
            pc = -1 if step.pc is None else step.pc
            rows.append(Row(int(step.write), address & ~3, step.data, step.lanes, pc))
            waits.append(step.wait + pause)
            lines.append(line)
            pause = 0
        elif not isinstance(step, Mark):
            what = type(step).__name__.removesuffix("Step").lower()
            text = f"step {number}: a recording holds accesses only, not a step {what!r}"
            mistakes.append(Mistake(text, source, line))
    if not rows and not mistakes:
        mistakes.append(Mistake("must hold at least one access", source))
    if mistakes:
        raise InputError(limited(mistakes, source))
    return rows, waits, lines


def _firmware(system: System) -> Firmware | None:
    if not system.firmware:
        return None
    from busbox.firmware.program import Firmware

    return Firmware(system.firmware)


def _place(pc: int, firmware: Firmware | None) -> str:
    """Return the address of an instruction, with its function and line where they are known."""
    source = firmware.source(pc) if firmware else None
    return f"{pc:#010x}" if source is None else f"{pc:#010x} ({source})"


def _hint(setup: CoreSetup, row: Row) -> str:
    if any(memory.base <= row.address < memory.end for memory in setup.memories):
        return (
            ". The recorded address is in a memory of the core: record accesses to slots only, or say "
            "with [[core.memory]] what the core's own memories are"
        )
    return ""


# As one object.


def _object(
    found: Fit, setup: CoreSetup, rows: Sequence[Row], firmware: Firmware | None
) -> dict[str, Any]:
    return {
        "clocks": found.clocks,
        "memories": [
            {"at": memory.base, "clocks": clocks}
            for memory, clocks in zip(setup.memories, found.memories, strict=True)
        ],
        "not_executed": list(found.absent),
        "notes": [*found.notes, *_counters(found, firmware)],
        "instructions": found.instructions,
        "waits": len(found.waits),
        "unexplained": [
            {
                "access": number,
                "wait": int(found.waits[number]),
                "expected": int(found.expected[number]),
                "pc": rows[number].pc if rows[number].pc >= 0 else None,
            }
            for number in found.wrong.tolist()
        ],
    }


# For people.


def _write(
    found: Fit,
    setup: CoreSetup,
    rows: Sequence[Row],
    firmware: Firmware | None,
    recording: str,
    page: Paper,
) -> None:
    page.line(
        (recording, "bold"),
        f": {counted(len(rows), 'access', 'accesses')} as {Path(setup.program).name} makes them, "
        f"{counted(found.instructions, 'instruction')}",
        hang=2,
    )
    page.line()
    for text in _tables(found, setup):
        page.line(text)
    page.line()
    for text in (*found.notes, *_counters(found, firmware)):
        page.line(f"note: {text}", hang=2)
    _write_waits(found, rows, firmware, page)


def _tables(found: Fit, setup: CoreSetup) -> Iterator[str]:
    """Yield the lines of the tables, in TOML."""
    base = found.clocks.get("base", setup.clocks["base"])
    yield "[core.clocks]"
    yield f"base = {base}"
    for kind, clocks in found.clocks.items():
        if kind != "base" and clocks != base:
            yield f"{kind} = {clocks}"
    same = [kind for kind in CLASSES if found.clocks.get(kind) == base and kind != "base"]
    if same:
        yield f"# as base: {', '.join(same)}"
    if found.absent:
        yield f"# not executed, so not known: {', '.join(found.absent)}"
    for memory, own in zip(setup.memories, found.memories, strict=True):
        yield ""
        yield from _memory(memory, own)


def _memory(memory: Memory, clocks: int | None) -> Iterator[str]:
    yield "[[core.memory]]"
    yield f"at = {memory.base:#010x}"
    yield f"size = {memory.size:#x}"
    if clocks is None:
        yield f"clocks = {memory.clocks}  # never accessed, so not known"
    else:
        yield f"clocks = {clocks}"
    if memory.fill:
        yield f"fill = {memory.fill:#010x}"
    if not memory.writable:
        yield "writable = false"


def _counters(found: Fit, firmware: Firmware | None) -> Iterator[str]:
    if found.counters:
        places = ", ".join(_place(pc, firmware) for pc in found.counters[:3])
        yield (
            f"The program reads a counter of cycles at {places}, which has another value here than it "
            "had when this was recorded: what depends on it may differ."
        )


def _write_waits(found: Fit, rows: Sequence[Row], firmware: Firmware | None, page: Paper) -> None:
    wrong, total = found.wrong, len(found.waits)
    if not len(wrong):
        page.line((f"All {counted(total, 'wait')} are explained.", "bold"))
        return
    verb = "is" if len(wrong) == 1 else "are"
    page.line((f"{len(wrong):,} of {counted(total, 'wait')} {verb} not explained", "bold"))
    errors = np.abs(found.waits[wrong] - found.expected[wrong])
    page.line(
        f"  They differ by {int(errors.max()):,} cycles at most, {int(np.median(errors)):,} typically.",
        hang=2,
    )
    if wrong[0] == 0:
        page.line(
            "  The first one counts from cycle 1: it also holds the end of the reset, and access_at of "
            "[core].",
            hang=2,
        )
    head = ("access", "wait", "expected", "at")
    shown = [
        (
            f"{number:,}", f"{int(found.waits[number]):,}", f"{int(found.expected[number]):,}",
            _place(rows[number].pc, firmware) if rows[number].pc >= 0 else "",
        )
        for number in wrong[:SHOWN].tolist()
    ]  # fmt: skip
    page.table([head, *shown])
    if len(wrong) > SHOWN:
        page.line(f"  and {counted(len(wrong) - SHOWN, 'other')}")
