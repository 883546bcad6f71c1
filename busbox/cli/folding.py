"""What ``busbox convert --fold`` says of the loops that it folded and of those that it left."""

from __future__ import annotations

from collections.abc import Iterator

from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.cpu.steps import Named, Target
from busbox.formats.folding import Folded, LoopNote
from busbox.map.slots import AddressMap


def show_folded(folded: Folded | None, address_map: AddressMap | None, page: Paper) -> None:
    """Put the lines of the report on a page, if something was to be folded."""
    for line in told(folded, address_map) if folded else ():
        page.line(f"  {line}", hang=10)


def told(folded: Folded, address_map: AddressMap | None) -> Iterator[str]:
    """Yield the lines of a report.

    Parameters
    ----------
    address_map : for the names of registers; None: addresses are shown
    """
    if not folded.notes:
        yield "nothing to fold: no read is repeated"
    for note in folded.notes:
        yield _line(note, address_map)
    if folded.kept:
        yield f"{counted(folded.kept, 'read')} kept for an until: no longer compared"


def _line(note: LoopNote, address_map: AddressMap | None) -> str:
    target, _, pc = note.loop.key
    place = f"{_register(target, address_map)}{'' if pc is None else f' at pc {pc:#x}'}"
    runs = f"{counted(note.loop.reads, 'read')} in {counted(len(note.loop.runs), 'run')}"
    if not note.condition:
        return f"left    {place}: {runs}; {note.remark}"
    kind = "until" if ">=" in note.condition else "poll"
    at_once = f", {note.at_once:,} with one read" if note.at_once else ""
    remark = f"; {note.remark}" if note.remark else ""
    waits = f"{kind} of {place} {note.condition}"
    return f"folded  {waits}: {runs}{at_once}, every {note.loop.period}{remark}"


def _register(target: Target, address_map: AddressMap | None) -> str:
    if isinstance(target, Named):
        return str(target)
    found = None if address_map is None else address_map.decode(target)
    if found is None or found.slot is None or found.place is None:
        return f"{target:#010x}"
    return f"{found.slot.name}.{found.place.name}"
