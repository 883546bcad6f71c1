"""Writes hardware as Verilog: one device, or the fabric with all its devices.

The text comes from Amaranth's RTLIL by way of the front end: processes become registers and
expressions, the hierarchy is flattened, and what does not reach a port (watch port, notes) is gone. The
same bench gives the same text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib import metadata
from pathlib import Path
from typing import Any

from amaranth.back import rtlil

from busbox.basics.errors import InputError
from busbox.map.bits import bit_ranges, bits_in
from busbox.map.registers import Register, RegisterTable
from busbox.map.slots import Slot
from busbox.verilog import front_end
from busbox.verilog.outer import INNER, KEYWORDS, Outer, OuterPort, Style, unused

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_$]*")


def module_text(name: str, design: Any, ports: Sequence[Any], stored: Sequence[str]) -> str:
    """Return a design as one module in Verilog, without a head.

    Parameters
    ----------
    ports : Amaranth's signals of its ports
    stored : registers whose stored bits keep their names
    """
    text = rtlil.convert(design, name=name, ports=list(ports), emit_src=False)
    kept = " ".join(f"w:{INNER}__{one}_value" for one in stored)
    commands = ["proc", "flatten -separator __"]
    commands += [f"setattr -set keep 1 {kept}"] if kept else []
    # What serves the simulation only, and names that Amaranth has invented.
    commands += [f"rename -hide w:{INNER}__note* w:{INNER}__at_rest w:*_signature_* w:*$*"]
    commands += [
        "opt_expr", "opt_clean -purge", "memory_collect", "opt_expr", "opt_muxtree", "opt_expr",
        "opt_merge", "opt_dff", "opt_expr", "opt_clean -purge", "write_verilog -noattr",
    ]  # fmt: skip
    script = f"read_rtlil <<end_of_design\n{text}\nend_of_design\n" + "\n".join(commands) + "\n"
    printed, _ = front_end.run(script, Path(), b"")
    body = printed[printed.index("\nmodule ") + 1 :]
    return _plain_names(body.rstrip() + "\n")


def _plain_names(text: str) -> str:
    """Take the name of the inner device off the names of what is in it; each stays the only one."""
    prefix = f"{INNER}__"
    taken = set(re.findall(r"\w+", text))
    given: dict[str, str] = {}

    def plain(found: re.Match[str]) -> str:
        full = found[0].strip().lstrip("\\")
        if full not in given:
            short = re.sub(r"\W+", "_", full.removeprefix(prefix)).strip("_")
            short = re.sub(r"__+", "_", short)
            given[full] = unused(short, taken, "_inside")
        return given[full]

    text = re.sub(rf"\\{prefix}\S+ ", plain, text)
    return re.sub(rf"\b{prefix}\w+", plain, text)


def device_text(outer: Outer, slot: Slot, head: Sequence[str], gives_way: Sequence[Slot]) -> str:
    """Return a device as a file in Verilog.

    Parameters
    ----------
    outer : the device with its port
    slot : its place in the address map
    head : lines of comment that come first
    gives_way : slots that answer in its place where both would
    """
    table = slot.table
    stored = [name for register in table for name in _stored(register)]
    text = module_text(slot.name, outer, [port.signal for port in outer.ports], stored)
    comments = [
        *head,
        "",
        *_selected(slot, gives_way),
        "",
        "Instantiation:",
        *instance(slot.name, slot.name, [(port, port.name) for port in outer.ports]),
        *_registers(table),
    ]
    return comment(comments) + _with_comments(text, table, outer.ports)


def comment(lines: Sequence[str]) -> str:
    """Return lines as a comment."""
    return "".join(f"// {_one_line(line)}".rstrip() + "\n" for line in lines) + "\n"


def _one_line(text: str) -> str:
    """Return a text without line ends: what follows one would be no comment."""
    return " ".join(text.split("\n")).replace("\r", " ")


def instance(module: str, name: str, ports: Sequence[tuple[OuterPort, str]]) -> Iterator[str]:
    """Yield the lines of an instance.

    Parameters
    ----------
    ports : each port with what is connected to it
    """
    yield f"  {module} {name} ("
    for place, (port, wire) in enumerate(ports):
        yield f"    .{port.name}({wire}){',' if place + 1 < len(ports) else ''}"
    yield "  );"


def _stored(register: Register) -> Iterator[str]:
    if register.mask("rw", "wo", "ones_clear") and not (register.count and register.kept):
        for index in range(max(1, register.count)):
            yield register.name_of(index).replace(".", "_")


def _selected(slot: Slot, gives_way: Sequence[Slot]) -> Iterator[str]:
    """Yield what a decoder does for a slot, as a Verilog expression over ``address``."""
    others = "".join(f" && !({condition(other)})" for other in gives_way)
    yield f"Slot at 0x{slot.base:08x}, 0x{slot.size:x} bytes. Selected when (byte address):"
    yield f"  {condition(slot)}{others}"


def condition(slot: Slot) -> str:
    """Return when a slot's decoder matches, over a byte address of 32 bits."""
    if slot.decode == "range":
        last = slot.base + slot.size - 1
        return f"address >= 32'h{slot.base:08x} && address <= 32'h{last:08x}"
    (term,) = slot.terms
    parts = []
    for high, low in bit_ranges(bits_in(term.mask)):
        width = high - low + 1
        value = slot.base >> low & (1 << width) - 1
        bits = f"[{high}:{low}]" if width > 1 else f"[{high}]"
        parts.append(f"address{bits} == {width}'h{value:0{-(-width // 4)}x}")
    return " && ".join(parts) or "1'b1"


def _registers(table: RegisterTable) -> Iterator[str]:
    if any(table):
        yield ""
        yield "Registers (offset in bytes, access, reset):"
    for register in table:
        count = f" to {register.name_of(register.count - 1)}" if register.count > 1 else ""
        yield (
            f"  0x{register.offset:03x} {register.name_of(0)}{count}  {register.access} "
            f"0x{register.reset_value:x}  {register.text}"
        )
        for field in register.fields:
            if field.name != "VALUE":
                access = field.access or register.access
                yield f"        [{field.bits}] {field.name}  {access}  {field.text}"


def _with_comments(text: str, table: RegisterTable, ports: Sequence[OuterPort]) -> str:
    """Put a comment before each port that has a text, and before each register."""
    said = {port.name: port.text for port in ports if port.text}
    registers: dict[str, str] = {}
    for register in table:
        for index in range(max(1, register.count)):
            own = register.name_of(index)
            place = f"{own}, offset 0x{register.offset + 4 * index:03x}"
            name = own.replace(".", "_")
            # Of ROW.0 and ROW_0, nobody knows which of them has kept the name.
            registers[name] = "" if name in registers else place
    lines = []
    for line in text.split("\n"):
        port = re.match(r"  (?:input|output)\b.*?(\w+);$", line)
        stored = re.match(r"  reg .*?\b(\w+)_value\b", line)
        if port and port[1] in said:
            lines.append(f"  // {_one_line(said[port[1]])}")
        elif stored and registers.get(stored[1]):
            lines.append(f"  // register {_one_line(registers[stored[1]])}")
        lines.append(line)
    return "\n".join(lines)


def check_name(name: str, option: str) -> None:
    """Refuse what is no name in Verilog.

    Raises
    ------
    InputError : it is none
    """
    if not _NAME.fullmatch(name) or name in KEYWORDS:
        raise InputError.of(
            f"must be a name in Verilog (letters, digits, _, no keyword), not {name!r}", option
        )


def check_clocking(style: Style, more: Iterable[str] = ()) -> None:
    """Refuse a clock or a reset that is called as another port.

    Parameters
    ----------
    more : names of ports beside those of the bus

    Raises
    ------
    InputError : it is
    """
    clock, reset, _ = style.clocking
    if clock == reset:
        raise InputError.of("must differ from the name of the clock", "--reset")
    taken = {*style.bus_ports.values(), *more}
    for option, name in (("--clock", clock), ("--reset", reset)):
        if name in taken:
            raise InputError.of(f"must differ from the name of port {name}", option)


def name_of(bench: str) -> str:
    """Return the name of a bench as one of a module: other signs become _."""
    name = re.sub(r"[^A-Za-z0-9_]+", "_", bench)
    return name if not name[:1].isdigit() else f"_{name}"


def check_modules(names: Iterable[str]) -> None:
    """Refuse names that modules cannot have side by side.

    Raises
    ------
    InputError : a name is not one in Verilog, or two modules would have it
    """
    seen: set[str] = set()
    for name in names:
        if not _NAME.fullmatch(name) or name in KEYWORDS:
            raise InputError.of(
                f"a module in Verilog cannot be called {name!r} (letters, digits, _, no keyword); "
                "rename the slot"
            )
        if name in seen:
            raise InputError.of(f"two modules would be called {name!r}; rename the slot")
        seen.add(name)


def head_of(bench: str, what: str, settings: Mapping[str, Any]) -> list[str]:
    """Return the first lines of a file."""
    given = ", ".join(f"{name} = {value}" for name, value in settings.items())
    version = metadata.version("busbox")
    lines = [f"{what}; written by Busbox {version} from the bench {bench}."]
    return lines + ([f"Settings: {given}."] if given else [])
