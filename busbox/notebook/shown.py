"""What each class shows: one function a class, from the object to HTML."""

from __future__ import annotations

from collections.abc import Iterable

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.bench.bench import Bench
from busbox.exports.brief import first_findings, place_of, write_verdict
from busbox.exports.usage import usage
from busbox.map.slots import AddressMap, Slot
from busbox.notebook import drawn
from busbox.notebook.html import paragraph, table
from busbox.recording import Finding, Recording
from busbox.system.hardware import Device
from busbox.variants.sweep import Sweep

#: Rows of a sweep, and gaps of a map, that are shown.
SHOWN_ROWS, SHOWN_GAPS = 20, 16


def bench(shown: Bench) -> str:
    """Return the clock and the slots of a bench, or what is wrong with it."""
    try:
        devices = shown.devices()
    except InputError as error:
        return paragraph("", shown.name) + "".join(paragraph(str(one)) for one in error.mistakes)
    slots = [device.slot for device in devices]
    heading = paragraph(f": clock {shown.keys.get('clock', '')}", shown.name)
    return heading + _slots(slots, devices) + _gaps(AddressMap(slots))


def address_map(shown: AddressMap) -> str:
    """Return the slots of a map, and where nothing answers."""
    return _slots(shown.slots, ()) + _gaps(shown)


def recording(shown: Recording) -> str:
    """Return the verdict of a run, the accesses of each slot, and the first finding of each rule."""
    page = Paper(width=1 << 16)
    write_verdict(shown, page)
    text = "".join(paragraph(line) for line in page.text.splitlines())
    used = usage(shown)
    rows = [
        (slot.name, slot.model, slot.ran_as, f"{use.reads:,}", f"{use.writes:,}", f"{use.waited:,}")
        for slot, use in zip(shown.slots, used.slots, strict=True)
    ]
    if used.nowhere.reads or used.nowhere.writes:
        none = used.nowhere
        rows.append(
            ("(no slot)", "", "", f"{none.reads:,}", f"{none.writes:,}", f"{none.waited:,}")
        )
    head = ("slot", "model", "ran as", "reads", "writes", "cycles waited")
    text += table("Accesses", head, rows, (3, 4, 5))
    first = [
        (rule, f"{count:,}", f"finding.{number}", place_of(shown, one), one.message, one.hint)
        for rule, count, number, one in first_findings(shown)
    ]
    if first:
        columns = ("rule", "times", "first", "where", "what", "try")
        text += table("Findings", columns, first, (1,)) + "".join(drawn.findings(shown))
    return text


def finding(shown: Finding) -> str:
    """Return what a finding says."""
    place = ".".join(part for part in (shown.slot, shown.register) if part)
    rows: list[tuple[str, object]] = [("what", shown.message), ("cycle", f"{shown.cycle:,}")]
    rows += [("access", f"{shown.access:,}")] if shown.access >= 0 else []
    rows += [("where", place)] if place else []
    rows += [("line", shown.line)] if shown.line >= 0 else []
    rows += [("pc", f"{shown.pc:#x}")] if shown.pc >= 0 else []
    rows += [("source", shown.source)] if shown.source else []
    rows += [("doubt", "after the end of what is certain")] if shown.doubtful else []
    return table(shown.rule, ("", ""), [*rows, ("try", shown.hint)])


def sweep(shown: Sweep) -> str:
    """Return the first rows of a sweep."""
    rows = [[_value(row.get(name)) for name in shown.columns] for row in shown.rows[:SHOWN_ROWS]]
    text = table(counted(len(shown.rows), "variant"), shown.columns, rows)
    more = len(shown.rows) - SHOWN_ROWS
    return text + (paragraph(f"and {counted(more, 'variant')} more") if more > 0 else "")


def _value(value: object) -> object:
    return "" if value is None else value


def _slots(slots: Iterable[Slot], devices: Iterable[Device]) -> str:
    models = {device.name: device.kind for device in devices}
    rows = [
        (
            f"{slot.base:#010x}..{slot.base + slot.size - 1:#010x}",
            slot.name,
            models.get(slot.name, ""),
            f"{slot.size:#x}",
            slot.wait,
            slot.how,
            f"{slot.images - 1:,}",
        )
        for slot in sorted(slots, key=lambda slot: slot.base)
    ]
    head = ("addresses", "slot", "model", "size", "wait", "decoding", "images beside it")
    return table("Slots", head, rows, (3, 4, 6))


def _gaps(shown: AddressMap) -> str:
    gaps, complete = shown.gaps(SHOWN_GAPS)
    rows = [(f"{first:#010x}..{last:#010x}", f"{last - first + 1:,}") for first, last in gaps]
    text = table("Nothing answers at", ("addresses", "bytes"), rows, (1,)) if rows else ""
    return text + ("" if complete else paragraph("and more, between images"))
