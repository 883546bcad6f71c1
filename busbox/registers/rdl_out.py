"""SystemRDL 2.0: an address map for each slot, and one for the bench.

Access types are standard properties: ``rw``, ``ro`` and ``wo`` by ``sw``; ``ones_clear`` is ``onwrite =
woclr``; ``ones_act`` is ``singlepulse`` where the standard allows that, which is one bit with reset 0,
else ``onwrite = woset`` with ``hwclr``. What the standard has no property for is a user-defined one
(its clause 15), whose name begins with ``busbox_``, and is written only where it is needed.

Source: SystemRDL 2.0, Accellera, January 2018.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from busbox.basics.errors import InputError
from busbox.map.registers import Field, Register
from busbox.registers.layout import Layout, NamedSlot, declares_fields
from busbox.registers.names import Names, stem
from busbox.registers.rdl_access import RDL_ACCESS, WIDE_PULSE, default_access

#: Words that cannot be names. Source: SystemRDL 2.0, tables 3 and 4 (reserved words).
KEYWORDS = frozenset(
    [
        "abstract",
        "accesstype",
        "addressingtype",
        "addrmap",
        "alias",
        "all",
        "bit",
        "boolean",
        "bothedge",
        "compact",
        "component",
        "componentwidth",
        "constraint",
        "default",
        "encode",
        "enum",
        "external",
        "false",
        "field",
        "fullalign",
        "hw",
        "inside",
        "internal",
        "level",
        "longint",
        "mem",
        "na",
        "negedge",
        "nonsticky",
        "number",
        "onreadtype",
        "onwritetype",
        "posedge",
        "property",
        "r",
        "rclr",
        "ref",
        "reg",
        "regalign",
        "regfile",
        "rset",
        "ruser",
        "rw",
        "rw1",
        "signal",
        "string",
        "struct",
        "sw",
        "this",
        "true",
        "type",
        "unsigned",
        "w",
        "w1",
        "wclr",
        "woclr",
        "woset",
        "wot",
        "wr",
        "wset",
        "wuser",
        "wzc",
        "wzs",
        "wzt",
        "alternate",
        "byte",
        "int",
        "precedencetype",
        "real",
        "shortint",
        "shortreal",
        "signed",
        "with",
        "within",
    ]
)
_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")

#: What is not allowed in a file, not even in a text: it would run a program, or read another file.
OUTSIDE = {"<%": "embedded Perl is not run", "`include": "one file must hold the whole declaration"}
#: The user-defined properties, each with its type and what it is a property of.
PROPERTIES = {
    "busbox_whole": ("longint unsigned", "reg"),
    "busbox_kept": ("boolean", "reg"),
    "busbox_access": ("string", "reg"),
}


def rdl(layout: Layout) -> str:
    """Return the registers as SystemRDL 2.0.

    Raises
    ------
    InputError : a name that SystemRDL cannot hold
    """
    names = Names()
    types = [
        (slot, names.give(f"{stem(slot.slot.name).lower()}_registers"))
        for slot in layout.slots
        if slot.slot.table.registers
    ]
    lines = ["// Made by busbox registers from declarations: change those, not this file.", ""]
    if not any(slot.slot.table.registers for slot in layout.slots):
        raise InputError.of("SystemRDL has no address map without registers", layout.name)
    body = [line for slot, name in types for line in ("", *_slot(slot, name))]
    for name, (kind, component) in PROPERTIES.items():
        if any(line.strip().startswith(f"{name} = ") for line in body):
            lines.append(f"property {name} {{ type = {kind}; component = {component}; }};")
    lines += [*body, ""]
    lines.append(f"addrmap {names.give(_identifier(layout.prefix.lower()))} {{")
    for slot, name in types:
        lines.append(f"    {name} {_identifier(slot.slot.name)} @ {slot.slot.base:#x};")
    return "\n".join([*lines, "};", ""])


def _identifier(name: str) -> str:
    if not _NAME.fullmatch(name):
        raise InputError.of(
            f"SystemRDL allows only ASCII letters, digits and _ in a name, no digit first: {name!r}"
        )
    return f"\\{name}" if name in KEYWORDS else name


def _slot(slot: NamedSlot, name: str) -> Iterator[str]:
    yield f"addrmap {name} {{"
    yield f"    name = {_string(slot.slot.name)};"
    yield f"    desc = {_string(slot.kind)};"
    yield "    default regwidth = 32;"
    for register in slot.slot.table:
        yield from _register(register)
    yield "};"


def _register(register: Register) -> Iterator[str]:
    yield "    reg {"
    if register.text:
        yield f"        desc = {_string(register.text)};"
    if register.whole:
        yield f"        busbox_whole = {register.whole:#x};"
    if register.kept:
        yield "        busbox_kept = true;"
    if register.access != default_access(
        field.access or register.access for field in register.fields
    ):
        yield f'        busbox_access = "{register.access}";'
    for field in register.fields:
        yield from _field(register, field)
    count = f"[{register.count}]" if register.count else ""
    yield f"    }} {_identifier(register.name)}{count} @ {register.offset:#x};"


def _field(register: Register, field: Field) -> Iterator[str]:
    access = field.access or register.access
    wide = access == "ones_act" and (field.high > field.low or field.reset)
    properties = WIDE_PULSE if wide else RDL_ACCESS[access]
    # A register that is one value has one text.
    has_text = bool(field.text) if declares_fields(register) else field.text != register.text
    parts = [f"{name} = {value};" for name, value in properties]
    parts += [f"reset = {field.reset:#x};"]
    parts += [f"desc = {_string(field.text)};"] if has_text else []
    bits = f"[{field.high}:{field.low}]"
    yield f"        field {{ {' '.join(parts)} }} {_identifier(field.name)}{bits};"


def _string(text: str) -> str:
    """Return a text as a string of SystemRDL: quotes and backslashes have a backslash before them."""
    for sign, why in OUTSIDE.items():
        if sign in text:
            raise InputError.of(f"SystemRDL cannot hold {sign} in a text ({why}): {text!r}")
    shown = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{shown}"'
