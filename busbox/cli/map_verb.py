"""``busbox map``."""

from __future__ import annotations

from itertools import islice
from typing import Any

import click

from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.cli.common import bench_argument, json_option, open_bench, paper, print_json, set_option
from busbox.cli.map_drawing import write_drawing
from busbox.cli.ports import port_object, port_text, wait_text
from busbox.map.shared import (
    Contest,
    Run,
    contested_runs,
    contests,
    image_numbers,
    image_runs,
)
from busbox.map.slots import AddressMap, Slot
from busbox.system.hardware import Device

#: Runs of addresses that an object lists, at most; and a page, of one slot's images or of two slots.
SHOWN_RUNS, PRINTED_RUNS = 64, 8


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
    images, shared = _images(address_map), _shared(address_map)
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
                "port": port_object(device.model),
                "yields_to": list(device.slot.yields_to),
            }
            for device in devices
        ],
        "images": [
            {"slot": slot.name, "first": first, "last": last}
            for slot, runs in images.items()
            for first, last in runs[:SHOWN_RUNS]
        ],
        "images_complete": all(len(runs) <= SHOWN_RUNS for runs in images.values()),
        "shared": [
            {"first": first, "last": last, "answers": one.winner.name, "yields": one.loser.name}
            for one, runs in shared
            for first, last in runs[:SHOWN_RUNS]
        ],
        "shared_complete": all(len(runs) <= SHOWN_RUNS for _, runs in shared),
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
             wait_text(slot.wait, device.model), slot.how + images + yields)
        )  # fmt: skip
    page.table(rows, head=head)
    ported = [(device.name, port_text(device.model)) for device in devices]
    if any(text for _, text in ported):
        page.title("Behind a bridge, whose cycles are added to the wait states")
        page.table((name, text) for name, text in ported if text)
    write_drawing(address_map, page)
    _show_images(page, address_map)
    _show_shared(page, address_map)
    gaps, complete = address_map.gaps(SHOWN_RUNS)
    page.title("Nothing answers at")
    page.table([(_span(first, last), f"{last - first + 1:,} bytes") for first, last in gaps])
    if not gaps:
        page.line("  no address: every one is in a slot")
    if not complete:
        page.line("  and more, between images")
    page.print()


def _images(address_map: AddressMap) -> dict[Slot, list[Run]]:
    """Return the first runs of images of each slot that has any, and one more if there are more."""
    found = {slot: list(islice(image_runs(slot), SHOWN_RUNS + 1)) for slot in address_map.slots}
    return {slot: runs for slot, runs in found.items() if runs}


def _shared(address_map: AddressMap) -> list[tuple[Contest, list[Run]]]:
    """Return the first runs of addresses that each pair of slots shares, as for images."""
    return [
        (one, list(islice(contested_runs(one), SHOWN_RUNS + 1))) for one in contests(address_map)
    ]


def _show_images(page: Paper, address_map: AddressMap) -> None:
    images = _images(address_map)
    if not images:
        return
    page.title("Images, counted from 0; image 0 is the slot's window above")
    yielding = {one.loser for one in contests(address_map)}
    rows: list[tuple[object, ...]] = []
    for slot, runs in images.items():
        rows += [(_span(*run), slot.name, _numbers(slot, run)) for run in runs[:PRINTED_RUNS]]
        if len(runs) > PRINTED_RUNS:
            rows.append(
                ("and more", slot.name, f"{slot.images:,} images in all, 0 to {slot.images - 1:,}")
            )
    page.table(rows)
    for slot in images:
        if slot in yielding:
            page.line(f"  {slot.name} gives way where another slot decodes them: see below")


def _numbers(slot: Slot, run: Run) -> str:
    numbers = image_numbers(slot, run)
    if numbers is None:
        return counted((run[1] - run[0] + 1) // slot.size, "image")
    first, last = numbers
    return f"image {first:,}" if first == last else f"images {first:,}..{last:,}"


def _show_shared(page: Paper, address_map: AddressMap) -> None:
    shared = _shared(address_map)
    if not shared:
        return
    page.title("Two slots decode the same addresses, and one answers")
    rows: list[tuple[object, ...]] = []
    for (winner, loser), runs in shared:
        words = f"{winner.name} answers; {loser.name} gives way to it"
        rows += [(_span(*run), words) for run in runs[:PRINTED_RUNS]]
        if len(runs) > PRINTED_RUNS:
            rows.append(("and more", words))
    page.table(rows)


def _span(first: int, last: int) -> str:
    return f"{first:#010x}..{last:#010x}"
