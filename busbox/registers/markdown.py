"""The reference as Markdown: the map, then each slot with a table of registers and one of fields."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from busbox.map.registers import ACCESS_TYPES
from busbox.registers.calls import notes_of
from busbox.registers.header import reached
from busbox.registers.layout import Layout, NamedRegister, NamedSlot

_MARKS = re.compile(r"([\\`*_{}\[\]<>|#&~])")


def markdown(layout: Layout) -> str:
    """Return the reference."""
    lines = [f"# Registers of {escaped(layout.name)}", ""]
    rows = [
        (
            f"`{_span(slot.slot.base, slot.slot.size)}`",
            escaped(slot.slot.name),
            escaped(slot.kind),
            f"{slot.slot.size:#x}",
            slot.slot.how,
        )
        for slot in sorted(layout.slots, key=lambda slot: slot.slot.base)
    ]
    lines += table(("Addresses", "Slot", "Model", "Bytes", "Decoding"), rows)
    for slot in layout.slots:
        lines += _slot(slot)
    used = used_access(layout)
    if used:
        lines += ["", "## Access types", ""]
        lines += table(
            ("Type", "Meaning"), [(f"`{one}`", escaped(ACCESS_TYPES[one])) for one in used]
        )
    return "\n".join([*lines, ""])


def used_access(layout: Layout) -> list[str]:
    """Return the access types that fields have, in their usual order."""
    found = {
        field.access or one.register.access
        for slot in layout.slots
        for one in slot.registers
        for field in one.register.fields
    }
    return [name for name in ACCESS_TYPES if name in found]


def _span(base: int, size: int) -> str:
    return f"{base:#010x}..{base + size - 1:#010x}"


def _slot(slot: NamedSlot) -> Iterator[str]:
    yield from ("", f"## {escaped(slot.slot.name)}", "")
    yield f"{escaped(slot.kind)} at `{_span(slot.slot.base, slot.slot.size)}`."
    rows = [_row(one) for one in slot.registers]
    if rows:
        yield ""
        yield from table(("Address", "Register", "Bits", "Access", "Reset", "Meaning"), rows)
    for named in slot.registers:
        notes = list(notes_of(named))
        if not named.fields and not notes:
            continue
        yield from ("", f"### {escaped(slot.slot.name)}.{escaped(named.register.name)}")
        if notes:
            yield from ("", " ".join(notes))
        if named.fields:
            yield ""
            yield from table(("Bits", "Field", "Access", "Reset", "Meaning"), _fields(named))
    for register, other in slot.hidden:
        yield from ("", f"{escaped(register.name)} cannot be reached: {reached(other)}.")


def name_of(named: NamedRegister) -> str:
    """Return the name of a register, with its numbers if it is an array: ``COLOUR.0..11``."""
    register = named.register
    return f"{register.name}.0..{register.count - 1}" if register.count > 1 else register.name_of(0)


def _row(named: NamedRegister) -> tuple[str, ...]:
    register, value = named.register, named.value
    return (
        f"`{named.address:#010x}`",
        escaped(name_of(named)),
        value.bits if value is not None else "",
        f"`{register.access}`",
        "kept" if register.kept else f"{register.reset_value:#x}",
        escaped(register.text),
    )


def _fields(named: NamedRegister) -> Iterator[tuple[str, ...]]:
    for one in reversed(named.fields):
        field = one.field
        yield (
            field.bits,
            escaped(field.name),
            f"`{one.access}`",
            "kept" if named.register.kept else f"{field.reset:#x}",
            escaped(field.text),
        )


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """Yield a table of Markdown."""
    yield f"| {' | '.join(head)} |"
    yield f"|{'---|' * len(head)}"
    for row in rows:
        yield f"| {' | '.join(row)} |"


def escaped(text: str) -> str:
    """Return a text of which Markdown takes nothing for a mark: one line."""
    return _MARKS.sub(r"\\\1", " ".join(text.split()))
