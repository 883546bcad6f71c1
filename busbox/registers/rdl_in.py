"""A declaration of registers from SystemRDL 2.0.

What a :class:`~busbox.map.registers.RegisterTable` cannot express is refused, with file and line.
These are accepted and change nothing here, because they say what the hardware does, or what a program
is to call something: the name and description of an address map or register file, the properties in
:data:`HARDWARE`, ``external`` and ``internal``. A register file's name goes before those of its
registers: ``EAST_COUNT``.

Source: SystemRDL 2.0, Accellera, January 2018.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from busbox.basics.errors import InputError, Mistake, join_or, limited, nearest, no_file
from busbox.basics.files import read_file
from busbox.basics.limits import DECLARATION
from busbox.map.registers import Field, Register, RegisterTable
from busbox.registers.rdl_access import default_access
from busbox.registers.rdl_out import OUTSIDE, PROPERTIES

#: Properties of a field or register that are the hardware's side, or another tool's.
HARDWARE = frozenset(
    [
        "hw",
        "we",
        "wel",
        "hwset",
        "hwclr",
        "hwenable",
        "hwmask",
        "swacc",
        "swmod",
        "anded",
        "ored",
        "xored",
        "hdl_path",
        "hdl_path_slice",
        "hdl_path_gate",
        "hdl_path_gate_slice",
    ]
)
#: Properties that are read, or that the compiler has already turned into addresses.
_READ = {
    "AddrmapNode": {"name", "desc", "alignment", "addressing", "lsb0", "littleendian"},
    "RegfileNode": {"name", "desc", "alignment"},
    "RegNode": {"name", "desc", "regwidth", "accesswidth", *PROPERTIES},
    "FieldNode": {"name", "desc", "sw", "reset", "onwrite", "woclr", "woset", "singlepulse",
                  "onread", "rclr", "rset", "fieldwidth"},
}  # fmt: skip
#: What installs the library.
NEEDS = "SystemRDL needs the library systemrdl-compiler: pip install 'busbox[systemrdl]'"


def registers_of(path: Path, addrmap: str | None = None) -> RegisterTable:
    """Return the registers that an address map declares.

    Parameters
    ----------
    addrmap : the name of its definition; None takes the only one that has no address map inside

    Raises
    ------
    InputError : the file cannot be read or is not valid, there is no such address map, the library is
        not installed, or something in it is not supported
    """
    try:
        from systemrdl.compiler import RDLCompiler
        from systemrdl.messages import RDLCompileError
    except ModuleNotFoundError:
        raise InputError.of(NEEDS) from None
    _check_text(path)
    collector = _collector()
    compiler = RDLCompiler(message_printer=collector)
    try:
        compiler.compile_file(str(path))
        root = compiler.elaborate(_chosen(compiler, path, addrmap))
    except RDLCompileError:
        found = [_placed(text, path, ref) for text, ref in collector.errors]
        raise InputError(limited(found, str(path))) from None
    return _Reader(path).table(root.top)


def _check_text(path: Path) -> None:
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    contents = read_file(path, DECLARATION)
    try:
        text = contents.decode("utf-8")
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        byte = f"must be UTF-8 text, not byte {error.object[error.start]:#04x}"
        raise InputError.of(byte, str(path), line) from None
    if "\0" in text:  # the compiler tries to go on behind each of them
        line = text[: text.index("\0")].count("\n") + 1
        raise InputError.of("must be UTF-8 text without zero bytes", str(path), line)
    for sign, why in OUTSIDE.items():
        if sign in text:
            line = text[: text.index(sign)].count("\n") + 1
            raise InputError.of(f"must not have {sign}: {why}", str(path), line)


def _collector() -> Any:
    """Return what takes the compiler's messages, in place of printing them."""
    from systemrdl.messages import MessagePrinter, Severity

    class Collector(MessagePrinter):
        def __init__(self) -> None:
            self.errors: list[tuple[str, Any]] = []

        def print_message(self, severity: Severity, text: str, src_ref: Any) -> None:
            # The last one, without a place, only says that there were some.
            if severity >= Severity.ERROR and not (severity == Severity.FATAL and self.errors):
                self.errors.append((text, src_ref))

    return Collector()


def _placed(text: str, path: Path, ref: Any) -> Mistake:
    line = getattr(ref, "line", None)
    return Mistake(f"is not valid SystemRDL: {text.rstrip('.')}", str(path), line)


def _chosen(compiler: Any, path: Path, addrmap: str | None) -> str:
    from systemrdl.component import Addrmap

    known = {name: one for name, one in compiler.root.comp_defs.items() if isinstance(one, Addrmap)}
    if addrmap is not None:
        if addrmap not in known:
            text = f"there is no addrmap {addrmap!r}{nearest(addrmap, list(known))}"
            raise InputError.of(text, str(path))
        return addrmap
    lowest = [
        name
        for name, one in known.items()
        if not any(isinstance(child, Addrmap) for child in one.children)
    ]
    if len(lowest) == 1:
        return str(lowest[0])
    if not lowest:
        raise InputError.of("must define an addrmap", str(path))
    text = f"defines several address maps; name one: {path.name}:{lowest[0]} ({join_or(lowest)})"
    raise InputError.of(text, str(path))


class _Reader:
    """Turns nodes into registers, and collects what is refused."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._mistakes: list[Mistake] = []

    def table(self, top: Any) -> RegisterTable:
        """Return the table of an address map."""
        registers = list(self._inside(top, "", 0))
        if not self._mistakes:
            try:
                return RegisterTable(*registers)
            except ValueError as error:
                self._mistakes.append(Mistake(str(error), str(self._path)))
        raise InputError(limited(self._mistakes, str(self._path)))

    def _refuse(self, node: Any, text: str, name: str = "") -> None:
        place = node.property_src_ref.get(name) or node.inst_src_ref or node.def_src_ref
        what = "" if node.parent is None else f"{node.inst_name} "
        self._mistakes.append(
            Mistake(f"{what}{text}", str(self._path), getattr(place, "line", None))
        )

    def _properties(self, node: Any) -> None:
        """Refuse the properties of a node that Busbox does not support."""
        known = _READ[type(node).__name__] | HARDWARE
        for name in node.list_properties():
            value = node.get_property(name)
            if name not in known and value not in (None, False):
                self._refuse(node, f"has {name}, which Busbox does not support", name)

    def _inside(self, node: Any, before: str, offset: int) -> Iterator[Register]:
        """Yield the registers of an address map or a register file."""
        self._properties(node)
        for child in node.children():
            kind = type(child).__name__
            if kind == "RegNode":
                register = self._register(child, before, offset)
                if register is not None:
                    yield register
            elif kind == "RegfileNode" and not child.is_array:
                yield from self._inside(
                    child, f"{before}{child.inst_name}_", offset + child.raw_address_offset
                )
            elif kind == "RegfileNode":
                self._refuse(child, "must not be an array: name each register file")
            else:
                what = {"AddrmapNode": "an addrmap", "MemNode": "a mem"}.get(kind, "a signal")
                self._refuse(
                    child, f"is {what} inside an address map, which Busbox does not support"
                )

    def _register(self, node: Any, before: str, offset: int) -> Register | None:
        seen = len(self._mistakes)
        self._properties(node)
        count = node.array_dimensions[0] if node.is_array else 0
        width, narrow = node.get_property("regwidth"), node.get_property("accesswidth")
        if width != 32:
            self._refuse(node, f"must have 32 bits, not {width}", "regwidth")
        elif narrow not in (8, 32):
            self._refuse(node, f"must have accesswidth 8 or 32, not {narrow}", "accesswidth")
        if node.is_array and len(node.array_dimensions) > 1:
            self._refuse(node, "must be an array of one dimension")
        elif node.is_array and node.array_stride != 4:
            self._refuse(node, f"must be an array 4 bytes apart, not {node.array_stride}")
        if node.is_alias:
            self._refuse(node, "is an alias, which Busbox does not support")
        kept, whole = self._own(node, "busbox_kept") or False, self._own(node, "busbox_whole") or 0
        if not 0 <= whole <= 15:
            self._refuse(node, f"must have busbox_whole from 0 to 15, not {whole}", "busbox_whole")
        fields = [self._field(field, kept) for field in node.fields()]
        if len(self._mistakes) > seen:
            return None
        name, text = f"{before}{node.inst_name}", _text(node)
        place = offset + node.raw_address_offset
        access = self._own(node, "busbox_access") or default_access(one.access for one in fields)
        more: dict[str, Any] = {"count": count, "whole": whole, "kept": kept}
        try:
            if _is_value(fields, access):
                (one,) = fields
                width, reset = one.high + 1, one.reset
                plain = Register(name, place, access, text, (), width, reset, **more)
                if node.fields()[0].get_property("desc") in (None, text):
                    return plain
            own = tuple(
                Field(one.name, one.high, one.low, "" if one.access == access else one.access,
                      one.reset, one.text)
                for one in fields
            )  # fmt: skip
            return Register(name, place, access, text, own, **more)
        except ValueError as error:
            self._refuse(node, f"cannot be declared: {error}")
            return None

    @staticmethod
    def _own(node: Any, name: str) -> Any:
        """Return a property of ours, None if the file does not define it."""
        return node.get_property(name) if name in node.list_properties() else None

    def _field(self, node: Any, kept: bool) -> Field:
        self._properties(node)
        access = self._access(node)
        reset = node.get_property("reset")
        if reset is not None and not isinstance(reset, int):
            self._refuse(node, "must have a number as its reset", "reset")
            reset = 0
        needs = access in ("rw", "wo", "ones_clear") and not kept
        if reset is None and needs:
            self._refuse(node, "must have a reset value (for all fields: default reset = 0;)")
        return Field(node.inst_name, node.high, node.low, access, reset or 0, _text(node))

    def _access(self, node: Any) -> str:
        """Return the access type that the properties of a field describe."""
        sw, write = node.get_property("sw").name, node.get_property("onwrite")
        onwrite, onread = "" if write is None else write.name, node.get_property("onread")
        if onread is not None:
            name = next(
                (one for one in ("onread", "rclr", "rset") if one in node.list_properties()), ""
            )
            self._refuse(node, f"has onread = {onread.name}, which Busbox does not support", name)
        if sw == "r" and not onwrite:
            return "ro"
        if node.get_property("singlepulse"):
            if sw == "w" and not onwrite:
                return "ones_act"
            self._refuse(node, "is a singlepulse, and so must have sw = w and no onwrite", "sw")
        elif not onwrite and sw in ("rw", "w"):
            return {"rw": "rw", "w": "wo"}[sw]
        elif (sw, onwrite) == ("rw", "woclr"):
            return "ones_clear"
        elif (sw, onwrite) == ("w", "woset") and node.get_property("hwclr"):
            return "ones_act"
        elif onwrite:
            self._refuse(
                node,
                f"has sw = {sw} with onwrite = {onwrite}, which Busbox does not support",
                "onwrite",
            )
        else:
            self._refuse(node, f"has sw = {sw}, which Busbox does not support", "sw")
        return "rw"


def _is_value(fields: list[Field], access: str) -> bool:
    """Return whether the fields are those of a register that declares only a width."""
    return [(one.name, one.low, one.access) for one in fields] == [("VALUE", 0, access)]


def _text(node: Any) -> str:
    """Return what a node says of itself: its description, after its name if it gives one."""
    given = [node.get_property(name) for name in ("name", "desc") if name in node.list_properties()]
    text = ": ".join(part for part in given if part)
    return " ".join(text.split()) if "\n" in text else text
