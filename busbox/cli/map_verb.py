"""``busbox map``."""

from __future__ import annotations

from typing import Any

import click

from busbox.cli.common import json_option, open_bench, paper, print_json, set_option
from busbox.map.slots import AddressMap, Slot
from busbox.system import Placed

#: Runs of addresses that are listed, at most.
SHOWN_RUNS = 64


@click.command("map")
@click.argument("bench")
@set_option
@json_option
def command(bench: str, values: tuple[str, ...], as_json: bool) -> int:
    """Show a bench's address map: slots, images, gaps.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox.
    """
    devices = open_bench(bench, values).devices()
    address_map = AddressMap([placed.slot for placed in devices])
    if as_json:
        print_json(_object(devices, address_map))
    else:
        _show(devices, address_map)
    return 0


def _object(devices: tuple[Placed, ...], address_map: AddressMap) -> dict[str, Any]:
    gaps, complete = address_map.gaps(SHOWN_RUNS)
    return {
        "slots": [
            {
                "name": placed.slot.name,
                "model": placed.kind,
                "base": placed.slot.base,
                "size": placed.slot.size,
                "decode": placed.slot.decode,
                "compared": sorted(_compared(placed.slot), reverse=True),
                "images": placed.slot.images,
                "wait": placed.slot.wait,
                "yields_to": list(placed.slot.yields_to),
            }
            for placed in devices
        ],
        "gaps": [{"first": first, "last": last} for first, last in gaps],
        "gaps_complete": complete,
    }


def _compared(slot: Slot) -> list[int]:
    """Return the numbers of the address bits that the decoder compares, none for a range."""
    if slot.decode == "range":
        return []
    return [bit for bit in range(32) if slot.terms[0].mask >> bit & 1]


def _show(devices: tuple[Placed, ...], address_map: AddressMap) -> None:
    page = paper()
    page.line(("Slots", "bold"))
    rows: list[tuple[object, ...]] = [("addresses", "slot", "model", "size", "wait", "decoded by")]
    for placed in sorted(devices, key=lambda placed: placed.slot.base):
        slot = placed.slot
        images = f"; {slot.images:,} images" if slot.images > 1 else ""
        yields = f"; yields to {', '.join(slot.yields_to)}" if slot.yields_to else ""
        rows.append(
            (_span(slot.base, slot.base + slot.size - 1), slot.name, placed.kind, f"{slot.size:#x}",
             slot.wait, slot.how + images + yields)
        )  # fmt: skip
    page.table(rows)
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
