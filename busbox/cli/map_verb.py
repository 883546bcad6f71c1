"""``busbox map``."""

from __future__ import annotations

from typing import Any

import click

from busbox.cli.common import bench_argument, json_option, open_bench, paper, print_json, set_option
from busbox.map.slots import AddressMap, Slot
from busbox.system.hardware import Device

#: Runs of addresses that are listed, at most.
SHOWN_RUNS = 64


@click.command("map")
@bench_argument
@set_option
@json_option
def command(bench: str, values: tuple[str, ...], as_json: bool) -> int:
    """Show a bench's address map: slots, images, gaps.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox.
    """
    devices = open_bench(bench, values).devices()
    address_map = AddressMap([device.slot for device in devices])
    if as_json:
        print_json(_object(devices, address_map))
    else:
        _show(devices, address_map)
    return 0


def _object(devices: tuple[Device, ...], address_map: AddressMap) -> dict[str, Any]:
    gaps, complete = address_map.gaps(SHOWN_RUNS)
    return {
        "slots": [
            {
                "name": device.name,
                "model": device.kind,
                "base": device.slot.base,
                "size": device.slot.size,
                "decode": device.slot.decode,
                "compared": sorted(_compared(device.slot), reverse=True),
                "images": device.slot.images,
                "wait": device.slot.wait,
                "yields_to": list(device.slot.yields_to),
            }
            for device in devices
        ],
        "gaps": [{"first": first, "last": last} for first, last in gaps],
        "gaps_complete": complete,
    }


def _compared(slot: Slot) -> list[int]:
    """Return the numbers of the address bits that the decoder compares, none for a range."""
    if slot.decode == "range":
        return []
    return [bit for bit in range(32) if slot.terms[0].mask >> bit & 1]


def _show(devices: tuple[Device, ...], address_map: AddressMap) -> None:
    page = paper()
    page.line(("Slots", "bold"))
    head = ("addresses", "slot", "model", "size", "wait", "decoding")
    rows: list[tuple[object, ...]] = []
    for device in sorted(devices, key=lambda device: device.slot.base):
        slot = device.slot
        images = f"; {slot.images:,} images" if slot.images > 1 else ""
        yields = f"; yields to {', '.join(slot.yields_to)}" if slot.yields_to else ""
        rows.append(
            (_span(slot.base, slot.base + slot.size - 1), slot.name, device.kind, f"{slot.size:#x}",
             slot.wait, slot.how + images + yields)
        )  # fmt: skip
    page.table(rows, head=head)
    gaps, complete = address_map.gaps(SHOWN_RUNS)
    page.title("Nothing answers at")
    page.table([(_span(first, last), f"{last - first + 1:,} bytes") for first, last in gaps])
    if not gaps:
        page.line("  no address: every one is in a slot")
    if not complete:
        page.line("  and more, between images")
    page.print()


def _span(first: int, last: int) -> str:
    return f"{first:#010x}..{last:#010x}"
