"""``busbox state``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.listing import runs
from busbox.basics.paper import TIED, Paper
from busbox.basics.units import parse_span, show_clock, show_time
from busbox.bench.opening import opened
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    by_option,
    is_recording,
    json_option,
    open_bench,
    open_recording,
    paper,
    print_json,
    set_option,
    shown_progress,
    traffic_option,
)
from busbox.device import RELEASED
from busbox.engines import DEFAULT_ENGINE, engine_class
from busbox.explain.difference import difference_so_far
from busbox.map.registers import Register
from busbox.recording import Recording
from busbox.system.hardware import Device
from busbox.system.system import System

#: What SLOT is for the core alone.
CORE = "core"


@click.command("state")
@bench_argument
@click.argument("slot", required=False, shell_complete=completing.slots)
@click.option("--at", metavar="TIME", help="The moment: a time, e.g. '2 ms', or a cycle.")
@traffic_option
@set_option
@json_option
def command(
    bench: str,
    slot: str | None,
    at: str | None,
    traffic: str | None,
    values: tuple[str, ...],
    as_json: bool,
) -> int:
    """Show registers and pins at a moment of a run.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox; or a saved
    recording, *.recording.npz. A register shows what a read in that cycle would return, without the
    side effects of a read. Without SLOT, every slot is shown. If a core executes firmware, its
    registers are shown too, or alone with core as SLOT: as the instructions that ended before that
    cycle have left them.
    """
    if is_recording(bench):
        saved = open_recording(bench)
        cycle = _cycle(at, saved.clock_hz)
        over = cycle >= saved.cycles - 1
        with opened(saved, to_replay=not over or saved.core is not None) as system:
            shown = _shown(system, slot)
            recording = saved if over else _again(bench, saved, system, cycle, as_json)
            _show(recording, system, shown, slot, cycle, as_json)
    else:
        with by_option():
            system = open_bench(bench, values).system(traffic)
        shown = _shown(system, slot)
        cycle = _cycle(at, system.clock_hz)
        recording = _run(system, cycle, as_json)
        _show(recording, system, shown, slot, cycle, as_json)
    return 0


def _show(
    recording: Recording,
    system: System,
    shown: Sequence[Device],
    slot: str | None,
    cycle: int,
    as_json: bool,
) -> None:
    from busbox.cli.core_state import as_object, core_state, write_core

    core = None
    if slot is None or not shown:
        core = core_state(system, recording)
    if as_json:
        found = _object(recording, shown, cycle)
        print_json(found if core is None else found | {"core": as_object(core, system)})
        return
    page = paper()
    _write(recording, cycle, page)
    if core is not None:
        write_core(core, system, page)
    _write_slots(recording, shown, page)
    page.print()


def _run(system: System, cycle: int, as_json: bool) -> Recording:
    from busbox.run.loop import replay

    with shown_progress(as_json) as progress:
        return replay(system, engine_class(DEFAULT_ENGINE), cycle + 1, progress)


def _again(name: str, saved: Recording, system: System, cycle: int, as_json: bool) -> Recording:
    """Run what was recorded again, up to a cycle.

    Raises
    ------
    InputError : it does not reproduce the recording
    """
    again = _run(system, cycle, as_json)
    difference = difference_so_far(saved, again)
    if difference is not None:
        raise InputError.of(
            f"running its bench again does not reproduce the recording: {difference.what} in cycle "
            f"{difference.cycle} was {difference.values[0]} and is now {difference.values[1]}",
            name,
        )
    return again


def _shown(system: System, slot: str | None) -> Sequence[Device]:
    names = [device.name for device in system.devices]
    if slot is None:
        return system.devices
    if slot in names:
        return [system.devices[names.index(slot)]]
    if system.core is not None:
        if slot == CORE:
            return []
        names.append(CORE)
    raise InputError.of(
        f"there is no slot {slot!r}{nearest(slot, names)} (known: {join_or(names)})", "state"
    )


def _cycle(at: str | None, clock_hz: int) -> int:
    if at is None:
        raise InputError.of("must be given, such as --at '2 ms'", "--at")
    try:
        return parse_span(at).in_cycles(clock_hz)
    except ValueError as error:
        raise InputError.of(str(error).removeprefix("a time "), "--at") from None


# As one object.


def _object(recording: Recording, devices: Sequence[Device], asked: int) -> dict[str, Any]:
    return {
        "bench": recording.bench,
        "clock_hz": recording.clock_hz,
        "asked": asked,
        "cycle": recording.cycles - 1,
        "ended": recording.ended,
        "slots": {device.name: _slot_object(recording, device) for device in devices},
    }


def _slot_object(recording: Recording, device: Device) -> dict[str, Any]:
    return {
        "model": device.kind,
        "registers": {
            name: {
                "value": value if _readable(register) else None,
                "fields": {
                    field.name: (value & field.mask) >> field.low
                    for field in register.fields
                    if _readable(register)
                },
            }
            for name, register, value in _registers(recording, device)
        },
        "pins": dict(_levels(recording, device)),
    }


def _registers(recording: Recording, device: Device) -> Iterator[tuple[str, Register, int]]:
    """Yield (name, register, word)."""
    for name, value in recording.registers[device.name].items():
        offset = device.slot.table.offset_of(name)
        place = None if offset is None else device.slot.table.at(offset)
        if place is not None:
            yield name, place.register, value


def _readable(register: Register) -> bool:
    return bool(register.mask("rw", "ro", "ones_clear"))


def _levels(recording: Recording, device: Device) -> Iterator[tuple[str, int]]:
    for pin in device.pins:
        yield pin.name, int(recording.lines[f"{device.name}.{pin.name}"].levels[-1])


# For people.


def _write(recording: Recording, asked: int, page: Paper) -> None:
    cycle, clock = recording.cycles - 1, recording.clock_hz
    page.line(
        (recording.bench, "bold"),
        f": cycle {cycle:,} ({show_time(cycle, clock)} at {show_clock(clock)})",
    )
    if cycle < asked:
        page.line(f"note: the run ended here, before cycle {asked:,} ({recording.ended}).", hang=2)


def _write_slots(recording: Recording, devices: Sequence[Device], page: Paper) -> None:
    for device in devices:
        page.title(f"{device.name} ({device.kind})")
        registers = list(_registers(recording, device))
        page.table(_row(*item) for item in runs(_decoded(registers)))
        if not registers:
            page.line("  no register is listed")
        pins = [f"{name}{TIED}{_level(level)}" for name, level in runs(_levels(recording, device))]
        if pins:
            page.table([("pins", ", ".join(pins))])


def _level(level: int) -> str:
    return "released" if level == RELEASED else str(level)


def _decoded(
    registers: Sequence[tuple[str, Register, int]],
) -> Iterator[tuple[str, tuple[str, str]]]:
    """Yield (name, (word, fields)) as text."""
    for name, register, value in registers:
        if not _readable(register):
            yield name, ("-", "cannot be read")
            continue
        fields = [
            f"{field.name}{TIED}{(value & field.mask) >> field.low}"
            for field in register.fields
            if field.name != "VALUE"
        ]
        yield name, (f"{value:#010x}", ", ".join(fields))


def _row(name: str, decoded: tuple[str, str]) -> tuple[str, str, str]:
    return (name, *decoded)
