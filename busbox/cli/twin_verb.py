"""``busbox twin``."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.basics.strangers import ALLOW_OUTSIDE
from busbox.basics.units import show_time
from busbox.bench.bench import Bench
from busbox.bus.transfers import TERMINATORS
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    by_option,
    is_recording,
    json_option,
    number_of,
    open_bench,
    paper,
    print_json,
    set_option,
    traffic_option,
)
from busbox.cli.writes import no_place
from busbox.engines import DEFAULT_ENGINE, engine_class
from busbox.exports.contract import target_of
from busbox.map.registers import RegisterTable
from busbox.recording import CarriedBench, Recording
from busbox.system.hardware import Device
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.check.twin import Counterexample, Difference, Pair, Plan
    from busbox.check.twin.exercise import Exercise

#: Lines of the traffic that are shown, the last ones.
SHOWN_STEPS = 14


#: Random accesses of one comparison; other seeds give more.
MOST_DRAWN = 1_000_000


@click.command("twin")
@bench_argument
@click.argument("slot", shell_complete=completing.slots)
@click.argument("other", required=False, shell_complete=completing.slots)
@click.option(
    "--random",
    "drawn",
    metavar="N",
    help="Run N random accesses instead of the traffic.",
)
@click.option("--seed", metavar="N", default="1", help="Seed of the random accesses (default 1).")
@click.option(
    "--save",
    "folder",
    metavar="DIR",
    shell_complete=completing.folders,
    help="Folder for a bench that shows the difference (default: SLOT.twin).",
)
@click.option(
    "--vcd",
    metavar="FILE",
    shell_complete=completing.files,
    help="Write both sides and their difference as a waveform file.",
)
@traffic_option
@set_option
@json_option
def command(
    bench: str,
    slot: str,
    other: str | None,
    drawn: str | None,
    seed: str,
    folder: str | None,
    vcd: str | None,
    traffic: str | None,
    values: tuple[str, ...],
    as_json: bool,
) -> int:
    """Compare a device with its hardware twin, cycle by cycle.

    OTHER is compared instead of the twin: hardware in another slot of the bench, or in a file, such as
    dimmer.v:dimmer. SLOT may then hold a prototype in Amaranth. Both run side by side; reads,
    terminators, pins and registers are compared in every cycle. They run the bench's traffic, or random
    accesses aimed at what the device does on its own, with wait states, inputs and resets. If they
    differ, the exit code is 1, and the shortest traffic found that shows the difference is saved.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox; or a saved
    recording, *.recording.npz, whose bench is run anew.
    """
    from busbox.check.twin import Pair

    if drawn is not None and traffic is not None:
        raise InputError.of("cannot be combined with --random", "--traffic")
    count = _count(drawn)
    chance = number_of(seed, "--seed")
    problem = "" if vcd is None else no_place(vcd)
    if problem:
        raise InputError.of(problem, "--vcd")
    with _bench_of(bench, values, to_replay=count is None and traffic is None) as (opened, carried):
        _check_slot(slot, opened)
        with by_option():
            if other is None:
                opened = opened.with_values([f'slot.{slot}.as="model"'])
            system = opened.system([] if count else traffic)
        number = [device.name for device in system.devices].index(slot)
        device = system.devices[number]
        hardware = _twin(other, number, system)
        pair = Pair(system, number, hardware, engine_class(DEFAULT_ENGINE))
        found = pair.drawn(count, chance) if count else pair.played()
        if vcd is not None:
            _write_waveform(pair, vcd)
        saved = _save(found, Path(folder or f"{slot}.twin"), opened, carried)
        if carried is not None:
            device = replace(device, kind=carried.labels.get(f"slot.{slot}.model", device.kind))
    if as_json:
        print_json(_object(slot, pair.exercise, found, saved))
        return int(found is not None)
    page = paper()
    first = "hardware" if device.model.in_amaranth else "model"
    page.line((f"{slot}: {first} {device.kind} and its twin {hardware.__name__}", "bold"))
    if found is None:
        _same(pair.exercise, page)
    else:
        _differ(device, system.clock_hz, found, saved, page)
    page.print()
    return int(found is not None)


def _write_waveform(pair: Pair, file: str) -> None:
    """Write both sides, in the traffic that shows the difference, or in that played last."""
    from busbox.exports.waveform_pair import Run, write_pair

    device, twin = (
        Run(name, side.recording, system, system.devices[number].name, side.registers)
        for name, (system, number, side) in zip(("device", "twin"), pair.shown, strict=True)
    )
    with target_of(file) as target:
        write_pair(device, twin, target.text)


@contextmanager
def _bench_of(
    name: str, values: tuple[str, ...], to_replay: bool
) -> Iterator[tuple[Bench, CarriedBench | None]]:
    """Give the bench that the verb names; that of a recording, with what the recording carries.

    Raises
    ------
    InputError : there is none that can be opened
    """
    if not is_recording(name):
        yield open_bench(name, values), None
        return
    from busbox.bench.opening import opened_bench

    with opened_bench(Recording.load(name), to_replay=to_replay) as (bench, carried):
        yield bench.with_values(values), carried


def _count(drawn: str | None) -> int | None:
    """Return how many random accesses are asked for; None for the bench's traffic.

    Raises
    ------
    InputError : it is no number, or more than one comparison takes
    """
    count = None if drawn is None else number_of(drawn, "--random", least=1)
    if count is not None and count > MOST_DRAWN:
        raise InputError.of(f"must be at most {MOST_DRAWN:,}, not {count:,}", "--random")
    return count


def _twin(other: str | None, number: int, system: System) -> Any:
    """Return the hardware that is compared: the twin of the device in a slot, or what is named."""
    from busbox.bus.ports.hardware import PortedHardware
    from busbox.check.twin.compare import with_hardware
    from busbox.device.twins import twin_of

    device = system.devices[number]
    if other is None:
        hardware = twin_of(device.model, repr(device.kind))
    else:
        hardware = _other(other, device, system)
    if not issubclass(hardware, PortedHardware):
        _check_timing(with_hardware(system, number, hardware).devices[number], system.clock_hz)
    return hardware


def _other(other: str, device: Device, system: System) -> Any:
    """Return the hardware that a device is compared with.

    Raises
    ------
    InputError : there is none of that name, or it is no hardware
    """
    from busbox.plugins import DEVICES, find

    slots = {one.name: one.model for one in system.devices}
    if other in slots:
        found = slots[other]
    elif "." in other:
        found = find(DEVICES, other, options={"table": device.slot.table})
    else:
        known = join_or(slots)
        raise InputError.of(
            f"there is no slot {other!r}{nearest(other, list(slots))} (known: {known}, or a file such "
            "as dimmer.v:dimmer)"
        )
    if not found.in_amaranth:
        raise InputError.of(f"must be hardware, not the Python model {found.__name__}", other)
    return found


def _check_slot(slot: str, bench: Bench) -> None:
    known = list(bench.keys.get("slot", {}))
    if slot not in known:
        raise InputError.of(
            f"there is no slot {slot!r}{nearest(slot, known)} (known: {join_or(known)})"
        )


def _save(
    found: Counterexample | None, folder: Path, bench: Bench, carried: CarriedBench | None
) -> Path | None:
    """Save the bench that shows a difference; return its folder, or None if there is none to save."""
    from busbox.check.twin.save import save, save_carried

    if found is None or found.plan is None or found.alone is None:
        return None
    if carried is not None:
        return save_carried(found.plan, found.alone, folder, bench.folder, carried)
    save(found.plan, found.alone, folder, bench.folder)
    return folder


def _check_timing(device: Device, clock_hz: int) -> None:
    """Refuse a device that no engine runs, or one with a timing other than the standard one.

    Raises
    ------
    InputError : writes are not committed in e + 1, or reads do not show e
    NetlistError : it has something that is not run, such as a black box
    """
    from busbox.check.port.subject import Subject
    from busbox.check.port.timing import timing_of
    from busbox.engines.paths import program_of

    program_of(device, clock_hz)
    timing = timing_of(Subject.of_device(device, clock_hz))
    if timing.commit in (None, 1) and timing.sample in (None, 0):
        return
    raise InputError.of(
        f"{device.model.__name__} uses its own timing: {timing.text}. Lockstep compares cycle by cycle "
        "and requires the standard timing: a write takes effect in e + 1, a read shows e (busbox check "
        "shows the details)"
    )


def _object(
    slot: str, exercise: Exercise, found: Counterexample | None, saved: Path | None
) -> dict[str, Any]:
    from busbox.check.twin.plan import show_steps

    if found is None:
        return {"slot": slot, "difference": None, "exercised": exercise.as_object()}
    difference = found.difference
    return {
        "slot": slot,
        "difference": {
            "cycle": difference.cycle,
            "what": difference.what,
            "name": difference.name,
            "model": difference.model,
            "hardware": difference.hardware,
            "access": difference.access,
        },
        "traffic": None if found.plan is None else list(show_steps(found.plan)),
        "saved": None if saved is None else saved.as_posix(),
    }


def _same(done: Exercise, page: Paper) -> None:
    page.line(
        f"  identical for all {counted(done.cycles, 'cycle')} and "
        f"{counted(done.accesses, 'access', 'accesses')}"
    )
    counts = [("input changes", done.inputs), ("resets", done.resets),
              ("accesses cut off by a reset", done.cut)]  # fmt: skip
    rows: list[tuple[object, ...]] = [(what, f"{count:,}") for what, count in counts]
    if done.aimed:
        share = f"{100 * done.aimed // done.accesses} %"
        rows.append(("accesses within two cycles of an event", share))
    page.table(rows, numbers=(1,), indent=4)
    never = list(done.never())
    if never:
        page.table([("never", ", ".join(never))], indent=4)


def _differ(
    device: Device, clock_hz: int, found: Counterexample, saved: Path | None, page: Paper
) -> None:
    difference, plan = found.difference, found.plan
    page.line(
        "  ",
        (f"they differ in cycle {difference.cycle:,}", "bold red"),
        f" ({show_time(difference.cycle, clock_hz)}): {_what(device.name, difference)}",
        hang=2,
    )
    table = device.slot.table
    page.table(
        [
            ("model", _value(table, difference, difference.model)),
            ("hardware", _value(table, difference, difference.hardware)),
        ],
        indent=6,
    )
    if plan is None:
        page.line(
            "  Alone, with the same accesses, they agree: the difference needs the rest of the bench."
        )
        return
    steps = list(_steps(plan))
    page.line(f"  The shortest traffic found that shows it ({counted(len(steps), 'line')}):")
    if len(steps) > SHOWN_STEPS:
        page.line(f"    {counted(len(steps) - SHOWN_STEPS, 'line')} before these")
    for line in steps[-SHOWN_STEPS:]:
        page.line(f"    {line}", hang=2)
    if saved is None:
        page.line(f"  not saved: a bench cannot name the model {device.kind}", hang=2)
    else:
        from busbox.check.twin.save import names_files_outside

        option = f" {ALLOW_OUTSIDE}" if names_files_outside(saved) else ""
        page.line(f"  saved as a bench: busbox twin {saved} {device.name}{option}", hang=2)


def _steps(plan: Plan) -> Iterator[str]:
    from busbox.check.twin.plan import show_steps

    yield from (f"at cycle {cycle}: RST for {length}" for cycle, length in plan.resets)
    yield from (f"at cycle {cycle}: {pin} {level}" for cycle, pin, level in plan.inputs)
    yield from show_steps(plan)


def _what(slot: str, difference: Difference) -> str:
    if difference.what == "access":
        return f"{difference.name} of access {difference.access}"
    if difference.what == "end":
        return "the end of the run"
    after = f", after access {difference.access}" if difference.access >= 0 else ""
    return f"{difference.what} {slot}.{difference.name}{after}"


def _value(table: RegisterTable, difference: Difference, value: Any) -> str:
    if difference.what == "register" and isinstance(value, int):
        return f"{value:#x}{_fields(table, difference, value)}"
    if difference.name == "terminator":
        return TERMINATORS[value]
    if difference.name == "data":
        return f"{value:#x}"
    if difference.what == "pin" and value == 2:
        return "released"
    return str(value)


def _fields(table: RegisterTable, difference: Difference, value: int) -> str:
    offset = table.offset_of(difference.name)
    place = table.at(offset) if offset is not None else None
    if place is None or not isinstance(difference.model, int):
        return ""
    wrong = difference.model ^ int(difference.hardware or 0)
    fields = [
        f"{field.name} {(value & field.mask) >> field.low}"
        for field in place.register.fields
        if wrong & field.mask and field.name != "VALUE"
    ]
    return f" ({', '.join(fields)})" if fields else ""
