"""``busbox export``."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.files import make_folder, replace_file
from busbox.cli import completing
from busbox.cli.common import bench_argument, by_option, open_bench, paper, set_option
from busbox.cli.writes import no_folder

if TYPE_CHECKING:
    from busbox.bench.bench import Bench
    from busbox.system.hardware import Device
    from busbox.system.system import System
    from busbox.verilog.outer import Style
    from busbox.verilog.whole import SlotDevice

#: Kinds of port, as ``busbox.bus.ports`` names them; that module is loaded late.
BUSES = ("wishbone", "apb", "axi4-lite", "strobes")


@click.command("export")
@bench_argument
@click.argument("folder", metavar="DIR", shell_complete=completing.folders)
@click.option(
    "--slot", "slots", metavar="SLOT", multiple=True, shell_complete=completing.slots,
    help="Write the device of this slot; may be given several times.",
)  # fmt: skip
@click.option(
    "--all", "everything", is_flag=True, help="Write the fabric and all hardware devices."
)
@click.option(
    "--bus", metavar="KIND", default=BUSES[0],
    help=f"Kind of the bus port: {', '.join(BUSES)}. (default: {BUSES[0]})",
)  # fmt: skip
@click.option("--clock", metavar="NAME", default="", help="Name of the clock.")
@click.option("--reset", metavar="NAME", default="", help="Name of the reset.")
@click.option(
    "--reset-low/--reset-high", "reset_low", default=None,
    help="Polarity of the reset. (default: that of the port's standard)",
)  # fmt: skip
@set_option
def command(
    bench: str,
    folder: str,
    slots: tuple[str, ...],
    everything: bool,
    bus: str,
    clock: str,
    reset: str,
    reset_low: bool | None,
    values: tuple[str, ...],
) -> int:
    """Write hardware devices as Verilog: one by one, or with the fabric.

    For a model, its hardware twin is written. The comment at the top of each file shows how to
    instantiate the module, when its slot is selected, and its registers. With --all, slots without
    hardware become ports.
    """
    from busbox.verilog.front_end import check_installed

    check_installed("busbox export")
    style = _style(bus, clock, reset, reset_low)
    if everything and slots:
        raise InputError.of("cannot be combined with --all", "--slot")
    if not everything and not slots:
        raise InputError.of("is required unless --slot SLOT is given", "--all")
    problem = no_folder(folder)
    if problem:
        raise InputError.of(problem, "DIR")
    opened = open_bench(bench, values)
    texts = _all(opened, style) if everything else _each(opened, slots, style)
    make_folder(Path(folder))
    page = paper()
    for name, text in texts.items():
        file = Path(folder) / f"{name}.v"
        replace_file(file, text.encode())
        page.line(f"{file}: module {name}", hang=2)
    page.print()
    return 0


def _style(bus: str, clock: str, reset: str, reset_low: bool | None) -> Style:
    from busbox.verilog.outer import Style
    from busbox.verilog.writing import check_clocking, check_name

    if bus not in BUSES:
        raise InputError.of(f"must be {join_or(BUSES)}, not {bus!r}{nearest(bus, BUSES)}", "--bus")
    for option, name in (("--clock", clock), ("--reset", reset)):
        if name:
            check_name(name, option)
    style = Style(bus, clock, reset, reset_low)
    check_clocking(style)
    return style


def _in_hardware(opened: Bench, wanted: tuple[str, ...]) -> System:
    """Return the bench's system with hardware in the wanted slots; without any, in all that have it."""
    from busbox.device.twins import twin_of

    with by_option():
        devices = {device.name: device for device in opened.system([]).devices}
        for name in wanted:
            if name not in devices:
                known = f"{nearest(name, list(devices))} (known: {join_or(devices)})"
                raise InputError.of(f"there is no slot {name!r}{known}", "--slot")
        changes = []
        for name in wanted or devices:
            model = devices[name].model
            if not model.in_amaranth and (wanted or getattr(model, "twin", None) is not None):
                twin_of(model, repr(devices[name].kind))
                changes.append(f'slot.{name}.as="hardware"')
        return opened.with_values(changes).system([])


def _placed(bench: str, clock_hz: int, devices: Iterable[Device]) -> list[SlotDevice]:
    from busbox.bus.identity import hardware
    from busbox.verilog.whole import SlotDevice
    from busbox.verilog.writing import head_of

    return [
        SlotDevice(
            device.slot,
            hardware(device, clock_hz) if device.model.in_amaranth else None,
            tuple(head_of(bench, f"{device.name}: {device.kind}", _shown(device.settings))),
        )
        for device in devices
    ]


def _shown(settings: Any) -> dict[str, Any]:
    return {name: value for name, value in settings.items() if isinstance(value, int | float)}


def _each(opened: Bench, slots: tuple[str, ...], style: Style) -> dict[str, str]:
    from busbox.verilog.outer import Outer
    from busbox.verilog.writing import check_modules, device_text

    system = _in_hardware(opened, slots)
    check_modules(dict.fromkeys(slots))
    chosen = [device for device in system.devices if device.name in slots]
    found = {}
    for one in _placed(opened.name, system.clock_hz, chosen):
        assert one.device is not None
        winners = [other.slot for other in system.devices if other.name in one.slot.yields_to]
        outer = Outer(one.device, style)
        found[one.slot.name] = device_text(outer, one.slot, one.head, winners)
    return found


def _all(opened: Bench, style: Style) -> dict[str, str]:
    from busbox.verilog.whole import slot_ports, whole_texts
    from busbox.verilog.writing import check_clocking, check_modules, head_of, name_of

    system = _in_hardware(opened, ())
    name = name_of(opened.name)
    check_modules([name, f"{name}_fabric", *(device.name for device in system.devices)])
    check_clocking(style, slot_ports(device.slot for device in system.devices))
    head = head_of(opened.name, opened.name, {})
    placed = _placed(opened.name, system.clock_hz, system.devices)
    return dict(whole_texts(name, placed, system.fabric, style, head))
