"""The reference as one HTML page: the map drawn to scale, and a strip of bits for every register.

Everything is in the file, nothing comes from a network, and it has no script. Colours only repeat what
the text says: each type of access has its own, and each slot one of three in turn.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from importlib.resources import files
from string import Template

from busbox.map.registers import ACCESS_TYPES, Field
from busbox.map.slots import SPACE
from busbox.registers.calls import notes_of
from busbox.registers.header import reached
from busbox.registers.layout import Layout, NamedRegister, NamedSlot
from busbox.registers.markdown import name_of, used_access

#: Colours of slots, in turn, and of fields by their access type.
SLOTS = ("blue", "orange", "purple")
FIELDS = {
    "rw": "blue",
    "ro": "grey",
    "wo": "purple",
    "ones_clear": "orange",
    "ones_act": "orange",
}
#: Letters of a name that fit into one bit of a strip.
LETTERS = 2


def html_page(layout: Layout) -> str:
    """Return the page."""
    ordered = sorted(layout.slots, key=lambda slot: slot.slot.base)
    colours = {slot.stem: SLOTS[at % len(SLOTS)] for at, slot in enumerate(ordered)}
    return Template(_file("reference.html")).substitute(
        name=escape(layout.name),
        style=_file("style.css"),
        contents="\n".join(
            f'<li><a href="#{_id(slot.stem)}">{escape(slot.slot.name)}</a></li>'
            for slot in layout.slots
        ),
        scale=_scale(ordered, colours, 0, SPACE),
        part=_occupied(ordered, colours),
        stretched="\n".join(_stretched(ordered, colours)),
        slots="\n".join(line for slot in layout.slots for line in _slot(slot)),
        access="\n".join(_access(layout)),
    )


def _file(name: str) -> str:
    return files("busbox.registers").joinpath("web", name).read_text(encoding="utf-8")


def _id(stem: str) -> str:
    return stem.lower()


def _span(base: int, size: int) -> str:
    return f"{base:#010x}..{base + size - 1:#010x}"


# The map.


def _occupied(ordered: Sequence[NamedSlot], colours: dict[str, str]) -> str:
    """Return the bar from the first slot to the last; nothing if there is none."""
    if not ordered:
        return ""
    first = ordered[0].slot.base
    return _scale(
        ordered, colours, first, max(one.slot.base + one.slot.size for one in ordered) - first
    )


def _scale(ordered: Sequence[NamedSlot], colours: dict[str, str], first: int, size: int) -> str:
    """Return a bar of so many bytes, to scale; a slot is at least a line wide."""
    ticks = "".join(f"<span>{first + size * at // 4:#010x}</span>" for at in range(4))
    lines = [
        "<figure>",
        f"<figcaption>{_span(first, size)}, to scale</figcaption>",
        '<div class="scale">',
        *(_on_bar(slot, colours[slot.stem], first, size) for slot in ordered),
        "</div>",
        f'<div class="ticks" aria-hidden="true">{ticks}</div>',
        "</figure>",
    ]
    return "\n".join(lines)


def _on_bar(slot: NamedSlot, colour: str, first: int, size: int) -> str:
    one = slot.slot
    left, width = (
        f"{100 * part / size:.6f}".rstrip("0").rstrip(".") for part in (one.base - first, one.size)
    )
    text = escape(f"{one.name}, {_span(one.base, one.size)}")
    return (
        f'<a class="{colour}" href="#{_id(slot.stem)}" title="{text}" aria-label="{text}" '
        f'style="left:min({left}%, 100% - 3px);width:{width}%"></a>'
    )


def _stretched(ordered: Sequence[NamedSlot], colours: dict[str, str]) -> Iterator[str]:
    """Yield slots and the gaps between them, from address 0 on."""
    end = 0
    for slot in ordered:
        one = slot.slot
        if one.base > end:
            yield _gap(end, one.base - end)
        yield (
            f'<li><a class="{colours[slot.stem]}" href="#{_id(slot.stem)}">'
            f"<strong>{escape(one.name)}</strong> "
            f"<code>{_span(one.base, one.size)}</code> <span>{escape(slot.kind)}, {one.size:#x} bytes"
            f"{_images(slot)}</span></a></li>"
        )
        end = max(end, one.base + one.size)
    if end < SPACE:
        yield _gap(end, SPACE - end)


def _gap(first: int, size: int) -> str:
    return f'<li class="gap">no slot: <code>&nbsp;{_span(first, size)}</code></li>'


def _images(slot: NamedSlot) -> str:
    more = slot.slot.images - 1
    return f", and {more:,} image{'s' if more > 1 else ''}" if more else ""


# Slots and registers.


def _slot(slot: NamedSlot) -> Iterator[str]:
    name, own = escape(slot.slot.name), _id(slot.stem)
    yield f'<section id="{own}" aria-labelledby="{own}--title">'
    yield f'<h2 id="{own}--title">{name}</h2>'
    yield (
        f"<p>{escape(slot.kind)} at <code>{_span(slot.slot.base, slot.slot.size)}</code>. "
        f"Decoding: {escape(slot.slot.how)}.</p>"
    )
    for named in slot.registers:
        yield from _register(slot, named)
    for register, other in slot.hidden:
        yield f"<p>{escape(register.name)} cannot be reached: {escape(reached(other))}.</p>"
    yield "</section>"


def _register(slot: NamedSlot, named: NamedRegister) -> Iterator[str]:
    register = named.register
    reset = "kept by a reset" if register.kept else f"after reset {register.reset_value:#010x}"
    yield f'<div class="register" id="{_id(named.stem)}">'
    yield (
        f"<h3>{escape(slot.slot.name)}.{escape(name_of(named))} "
        f'<span class="facts"><code>{_addresses(named)}</code> {register.access}, {reset}</span></h3>'
    )
    texts = [*([register.text] if register.text else []), *notes_of(named)]
    if texts:
        yield f"<p>{escape(' '.join(texts))}</p>"
    yield '<div class="strip">'
    yield from (_half(named, top) for top in (31, 15))
    yield "</div>"
    if named.fields:
        yield from _table(
            ("Bits", "Field", "Access", "Reset", "Meaning"),
            (
                (
                    _id(field.stem),
                    (
                        field.field.bits,
                        _key(field.access) + escape(field.field.name),
                        field.access,
                        "kept" if register.kept else f"{field.field.reset:#x}",
                        escape(field.field.text),
                    ),
                )
                for field in reversed(named.fields)
            ),
        )
    yield "</div>"


def _addresses(named: NamedRegister) -> str:
    """Return the address of a register, or of the first and the last one of an array."""
    last = named.address + 4 * (named.register.count - 1)
    return f"{named.address:#010x}" + (f"..{last:#010x}" if named.register.count > 1 else "")


def _half(named: NamedRegister, top: int) -> str:
    """Return bits ``top`` to ``top - 15`` of a strip."""
    low = top - 15
    cells = [
        f'<span class="bit" aria-hidden="true">{bit}</span>' for bit in range(top, low - 1, -1)
    ]
    bit = top
    while bit >= low:
        field = next((one for one in named.register.fields if one.low <= bit <= one.high), None)
        last = field.low if field else 1 + max(
            (one.high for one in named.register.fields if one.high < bit), default=-1
        )  # fmt: skip
        last = max(last, low)
        cells.append(_part(named, field, bit, last))
        bit = last - 1
    return f'<div class="half">{"".join(cells)}</div>'


def _part(named: NamedRegister, field: Field | None, high: int, low: int) -> str:
    width = high - low + 1
    place = f"grid-column:span {width}"
    if field is None:
        return f'<span class="part none" style="{place}" title="no field"></span>'
    access = field.access or named.register.access
    text = escape(f"{field.name}, bits {field.bits}, {access}")
    shown = f"<span>{escape(field.name)}</span>" if len(field.name) <= LETTERS * width else ""
    stem = next((one.stem for one in named.fields if one.field is field), named.stem)
    return (
        f'<a class="part {FIELDS[access]}" style="{place}" href="#{_id(stem)}" title="{text}" '
        f'aria-label="{text}">{shown}</a>'
    )


def _key(access: str) -> str:
    return f'<span class="key {FIELDS[access]}" aria-hidden="true"></span>'


def _table(head: Sequence[str], rows: Iterable[tuple[str, Sequence[str]]]) -> Iterator[str]:
    """Yield a table; each row comes with its id, or "", and cells of HTML."""
    yield '<table role="table"><thead><tr role="row">'
    yield "".join(f'<th scope="col" role="columnheader">{name}</th>' for name in head)
    yield "</tr></thead><tbody>"
    for own, cells in rows:
        shown = "".join(
            f'<td role="cell" data-head="{name}">{cell}</td>'
            for name, cell in zip(head, cells, strict=True)
        )
        yield f'<tr role="row"{f" id={own!r}" if own else ""}>{shown}</tr>'
    yield "</tbody></table>"


def _access(layout: Layout) -> Iterator[str]:
    used = used_access(layout)
    if used:
        yield '<section aria-labelledby="access"><h2 id="access">Access types</h2>'
        rows = ((_key(one) + one, escape(ACCESS_TYPES[one])) for one in used)
        yield from _table(("Type", "Meaning"), (("", row) for row in rows))
        yield "</section>"
