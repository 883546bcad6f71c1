"""The Python class: the same constants and functions as the C header, for tests against a board.

The file needs no Busbox and no other library. Its class takes a *bridge*: an object with
``read(address)`` and ``write(address, word)``, be it a program on the other end of a cable or the
``bus`` of a driver in Python.
"""

from __future__ import annotations

import keyword
from collections.abc import Iterator
from string import Template

from busbox.map.registers import Field
from busbox.registers.calls import Call, calls_of, notes_of
from busbox.registers.header import reached
from busbox.registers.layout import Layout, NamedRegister, NamedSlot
from busbox.registers.names import Names

_HEAD = Template('''"""The registers of $name.

Made by busbox registers from their declarations: change those, not this file.
"""

from __future__ import annotations

from typing import Protocol


class Bridge(Protocol):
    """What reaches the bus: an access of one word at an address, which is a multiple of 4."""

    def read(self, address: int) -> int:
        """Return the word at an address."""

    def write(self, address: int, word: int) -> object:
        """Write a word."""


def _word(word: int, bits: int = 0xFFFFFFFF) -> int:
    if not 0 <= word <= 0xFFFFFFFF or word & ~bits:
        raise ValueError(f"must have ones in bits {bits:#010x} only, not {word:#x}")
    return word


def _value(value: int, bits: int, shift: int) -> int:
    if not 0 <= value <= bits >> shift:
        raise ValueError(f"must be a number from 0 to {bits >> shift}, not {value}")
    return value << shift


def _index(index: int, length: int) -> int:
    if not 0 <= index < length:
        raise IndexError(f"index must be a number from 0 to {length - 1}, not {index}")
    return 4 * index
''')


def python_class(layout: Layout) -> str:
    """Return the file: a class for each slot, and one for all of them."""
    classes = Names(["Bridge"])
    classes.give("Bridge")
    # First of all: a slot that has the bench's name must not take the name of its class.
    whole = classes.give(_camel(layout.prefix))
    named = [(slot, classes.give(_camel(slot.stem))) for slot in layout.slots]
    lines = [_HEAD.substitute(name=_quoted(layout.name))]
    for slot, name in named:
        lines += ["", *_slot(slot, name), ""]
    lines += ["", f"class {whole}:"]
    lines.append(f'    """All slots of {_quoted(layout.name)}, over one bridge."""')
    lines += ["", "    def __init__(self, bridge: Bridge) -> None:"]
    attributes = Names()
    lines += [
        f"        self.{attributes.give(_plain(slot.stem.lower()))} = {name}(bridge)"
        for slot, name in named
    ] or ["        pass"]
    return "\n".join([*lines, ""])


def _camel(stem: str) -> str:
    name = "".join(part.capitalize() for part in stem.split("_"))
    return _plain(f"_{name}" if name[0].isdigit() else name)


def _plain(name: str) -> str:
    return f"{name}_" if keyword.iskeyword(name) else name


def _quoted(text: str) -> str:
    """Return a text that can stand inside a docstring."""
    shown = " ".join(text.split()).replace("\\", "\\\\").replace('"', '\\"')
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in shown
    )


def _slot(slot: NamedSlot, name: str) -> Iterator[str]:
    yield f"class {name}:"
    yield f'    """{_quoted(slot.slot.name)}: {_quoted(slot.kind)}."""'
    yield ""
    yield f"    BASE = {slot.slot.base:#010x}"
    yield f"    SIZE = {slot.slot.size:#x}"
    for register, other in slot.hidden:
        yield f"    # {_quoted(register.name)} cannot be reached: {reached(other)}."
    for named in slot.registers:
        yield from _constants(slot, named)
    yield ""
    yield "    def __init__(self, bridge: Bridge) -> None:"
    yield "        self._bridge = bridge"
    for named in slot.registers:
        for call in calls_of(named):
            yield ""
            yield from _method(slot, call)


def _constants(slot: NamedSlot, named: NamedRegister) -> Iterator[str]:
    register, own, value = named.register, slot.tail(named.stem), named.value
    reset = "kept by a reset" if register.kept else f"after reset {register.reset_value:#010x}"
    yield f"    # {_quoted(register.name)}: {register.access}, {reset}."
    yield f"    {own}_AT = {named.address:#010x}"
    if register.count:
        yield f"    {own}_LENGTH = {register.count}"
    if value is not None:
        yield from _bits(own, value)
    for field in named.fields:
        name = f"{_quoted(register.name)}.{_quoted(field.field.name)}"
        yield f"    # {name}: bits {field.field.bits}, {field.access}."
        yield from _bits(slot.tail(field.stem), field.field)


def _bits(stem: str, field: Field) -> Iterator[str]:
    yield f"    {stem}_BITS = {field.mask:#010x}"
    yield f"    {stem}_SHIFT = {field.low}"


def _method(slot: NamedSlot, call: Call) -> Iterator[str]:
    own = slot.tail(call.stem)
    array = call.register.register.count
    register = slot.tail(call.register.stem)
    at = f"self.{register}_AT" + (f" + _index(index, self.{register}_LENGTH)" if array else "")
    bits, shift = f"self.{own}_BITS", f"self.{own}_SHIFT"
    index = "index: int" if array else ""
    name = f"{call.verb}_{own.lower()}"
    if call.verb == "get":
        part = f"(self._bridge.read({at}) & {bits}) >> {shift}" if call.field else (
            f"self._bridge.read({at})"
        )  # fmt: skip
        yield from _body(name, [index], "int", _about(call), f"return {part}")
    elif call.verb == "take":
        value = f"return (_word(word) & {bits}) >> {shift}"
        yield from _body(name, ["word: int"], "int", _about(call), value)
    elif call.verb == "place":
        value = f"return (_word(word) & ~{bits}) | _value(value, {bits}, {shift})"
        yield from _body(name, ["word: int", "value: int"], "int", _about(call), value)
    else:
        word = "word" if call.verb == "put" else "ones"
        limit = "" if call.verb == "put" else f", {call.mask:#010x}"
        line = f"self._bridge.write({at}, _word({word}{limit}))"
        yield from _body(name, [index, f"{word}: int"], "None", _about(call), line)


def _body(name: str, arguments: list[str], result: str, about: str, line: str) -> Iterator[str]:
    given = ", ".join(["self", *filter(None, arguments)])
    yield f"    def {name}({given}) -> {result}:"
    yield f'        """{about}"""'
    yield f"        {line}"


def _about(call: Call) -> str:
    register = call.register.register
    what = _quoted(f"{register.name}.{call.field.field.name}" if call.field else register.name)
    sentence = {
        "get": f"Return {what}.",
        "put": f"Write {what}.",
        "clear": f"Clear the bits of {what} that are ones here.",
        "act": f"Act on the bits of {what} that are ones here.",
        "take": f"Return {what} in a word.",
        "place": f"Return a word with another value of {what}.",
    }[call.verb]
    text = call.field.field.text if call.field else register.text
    more = [] if call.field else list(notes_of(call.register))
    return " ".join([sentence, *([_quoted(text)] if text else []), *more])
