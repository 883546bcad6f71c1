"""A Verilog module as a hardware device."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from amaranth.hdl import Const, Module, ResetSignal, Signal
from amaranth.sim import Simulator

from busbox.basics.errors import InputError, Mistake, format_value, join_and, nearest, some_of
from busbox.bus.ports.hardware import PortedHardware
from busbox.device import Declaration, Pin, Setting, Site, has_one_table
from busbox.map.registers import RegisterTable
from busbox.verilog import front_end, refusals
from busbox.verilog.netlist import Netlist
from busbox.verilog.roles import Roles, roles_of
from busbox.verilog.source import Source, parameters_of
from busbox.verilog.starting import Start, start_of
from busbox.verilog.statements import Storage, build, check_memories
from busbox.verilog.undefined import undefined_sources
from busbox.verilog.watch import watched

#: Keys of ``[slot.NAME.verilog]``.
KEYS = ("files", "include", "defines")
#: Names in a note, at the most.
SHOWN = 6
#: Warnings of the front end that say nothing about the hardware.
_HARMLESS = ("Replacing memory",)


@dataclass(frozen=True)
class Made:
    """What a module is with given parameters.

    Attributes
    ----------
    roles : of its ports
    netlist : of registers and operators
    start : what registers and memories hold in cycle 0
    undefined : where else undefined bits come from, such as ``a division (dimmer.v:12)``
    notes : what its author should know, one sentence each
    """

    roles: Roles
    netlist: Netlist
    start: Start
    undefined: tuple[str, ...]
    notes: tuple[str, ...]


class VerilogHardware(PortedHardware):
    """A module in Verilog. :mod:`busbox.verilog` says how the language is interpreted.

    Attributes
    ----------
    source : its files
    given_ports : the table ``[slot.NAME.ports]``
    declaration : the model whose twin it is, if that makes its registers from settings; else None
    """

    source: ClassVar[Source]
    given_ports: ClassVar[Mapping[str, Any]] = {}
    declaration: ClassVar[type[Declaration] | None] = None
    _made: ClassVar[dict[tuple[tuple[str, int], ...], Made]]
    _levels: ClassVar[dict[tuple[tuple[str, int], ...], dict[str, int]]]

    @classmethod
    def made(cls, settings: Mapping[str, int]) -> Made:
        """Return what the module is with these parameters.

        Raises
        ------
        InputError : it cannot be read, or is refused
        """
        given = {name: value for name, value in settings.items() if value is not None}
        key = tuple(sorted(given.items()))
        if key not in cls._made:
            outlined = cls.source.outline(given)
            cls._made[key] = _make(cls.source, cls.given_ports, given, *outlined)
        return cls._made[key]

    @classmethod
    def notes_for(cls, settings: Mapping[str, Any]) -> tuple[str, ...]:
        """Return what its author should know, one sentence each."""
        return cls.made(settings).notes

    @classmethod
    def undefined_for(cls, settings: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the names of what holds undefined bits, and where else some come from."""
        made = cls.made(settings)
        return made.start.undefined + made.undefined

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        cls._levels = {}  # its own: they depend on the level of undefined bits

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return the registers that its model or a declaration beside it has; none without one."""
        return cls.table if cls.declaration is None else cls.declaration.table_for(settings, size)

    @classmethod
    def resets_for(cls, settings: Mapping[str, Any], clock_hz: int) -> Mapping[str, int]:
        """Return those of its model."""
        return {} if cls.declaration is None else cls.declaration.resets_for(settings, clock_hz)

    @classmethod
    def pins_for(cls, settings: Mapping[str, Any]) -> tuple[Pin, ...]:
        """Return its ports that belong to neither clock, reset nor bus."""
        made = cls.made(settings)
        key = tuple(sorted(settings.items()))
        pins = list(_pins(made, {}))
        if key not in cls._levels:
            cls._levels[key] = {}  # while it is built for the first time
            try:
                cls._levels[key] = cls._first_levels(settings)
            except BaseException:
                del cls._levels[key]
                raise
        return tuple(_pins(made, cls._levels[key])) if pins else ()

    @classmethod
    def _first_levels(cls, settings: Mapping[str, Any]) -> dict[str, int]:
        """Return the levels of the output pins in cycle 0, by member."""
        device = cls(Site("device", 0, 1 << 12, 1), **settings)
        levels: dict[str, int] = {}
        outputs = [stem for stem, pins in device.groups.items() if pins[0].direction == "output"]

        async def look(context: Any) -> None:
            for stem in outputs:
                levels[stem] = int(context.get(getattr(device, f"pin_{stem}")))

        simulator = Simulator(device)
        simulator.add_clock(1e-6)
        simulator.add_testbench(look)
        simulator.run_until(1e-7)
        return levels

    def __init__(self, site: Site, **settings: Any) -> None:
        self.what = self.made(settings)
        roles, ports = self.what.roles, self.what.netlist.ports
        assert roles.kind is not None
        self.address_bits = ports[roles.bus[roles.kind.address[0]]].width  # type: ignore[misc]
        super().__init__(site, **settings)

    def build_port(self, m: Module, port: Mapping[str, Any]) -> None:
        """Add the module."""
        made, roles = self.what, self.what.roles
        storage = Storage(m, made.netlist, made.start.bits, self.undefined_level, made.start.words)
        inputs: dict[str, Any] = {roles.clock: Const(0, 1)} if roles.clock else {}
        if roles.reset:
            inputs[roles.reset] = self._named(m, roles.reset, ResetSignal() ^ roles.reset_low)
        carried = {name: port[role] for role, name in roles.bus.items()}
        carried |= {name: getattr(self, f"pin_{stem}") for stem, name in roles.pins.items()}
        carried |= {
            name: getattr(self, f"pin_{stem}_enable") for stem, name in roles.enables.items()
        }
        for name, one in made.netlist.ports.items():
            if one.direction == "input" and name in carried:
                inputs[name] = carried[name]
        outputs = build(m, made.netlist, storage, inputs)
        m.d.comb += [carried[name].eq(outputs[name]) for name in outputs if name in carried]
        if roles.resting:
            m.d.comb += self.at_rest.eq(outputs[roles.resting] ^ roles.resting_low)
        if self.listed:
            assert roles.kind is not None
            address = self.address(self.watch_adr, self.address_bits or 1)
            m.d.comb += self.watch_data.eq(
                watched(m, made.netlist, storage, roles, inputs, address)
            )

    @staticmethod
    def _named(m: Module, name: str, value: Any) -> Signal:
        signal = Signal(name=name)
        m.d.comb += signal.eq(value)
        return signal


def _pins(made: Made, levels: Mapping[str, int]) -> Iterator[Pin]:
    for stem, name in made.roles.pins.items():
        port = made.netlist.ports[name]
        way = "input" if port.direction == "input" else "output"
        for place in range(port.width):
            pin = stem if port.width == 1 else f"{stem}.{place}"
            level = levels.get(stem, 0) >> place & 1 | int(stem in made.roles.high)
            yield Pin(pin, way, level, f"port {name}", released=stem in made.roles.enables)


def _make(
    source: Source,
    ports: Mapping[str, Any],
    parameters: Mapping[str, int],
    outline: Netlist,
    warnings: Sequence[Mistake],
) -> Made:
    roles = roles_of(outline.ports, ports)
    if roles.mistakes:
        raise InputError(
            Mistake(text, key=".".join(part for part in ("ports", key) if part))
            for key, text in roles.mistakes
        )
    refusals.check_warnings(warnings, outline, source.folder)
    refusals.check(outline, roles.clock, source.folder)
    whole, *held = source.reduced(parameters, roles.reset, roles.reset_low)
    check_memories(whole)
    refusals.check(whole, roles.clock, source.folder)
    start = start_of(whole, *(held or (None, None)))
    notes = [
        *(refusals.shown(one) for one in warnings if not one.text.startswith(_HARMLESS)),
        *refusals.left_out(outline, source.texts),
        *_said(roles, outline, start),
    ]
    return Made(roles, whole, start, undefined_sources(whole), tuple(notes))


def _said(roles: Roles, outline: Netlist, start: Start) -> Iterator[str]:
    """Yield the notes on ports, resets and initial values."""
    assert roles.kind is not None
    counted = "words" if roles.words else "bytes"
    other = [f"{role} = {port}" for role, port in roles.bus.items() if port.lower() != role]
    bus = f" ({', '.join(other)})" if other else ""
    low = " (active low)" if roles.reset_low else ""
    reset = f"reset {roles.reset}{low}" if roles.reset else "no reset"
    yield (
        f"port of kind {roles.kind.name}{bus}, addresses in {counted}; "
        f"clock {roles.clock or 'none'}, {reset}; pins {join_and(roles.pins or ['none'])}"
    )
    if any(outline.of_kind("$adff", "$adffe", "$dffsr", "$dffsre", "$aldff", "$aldffe")):
        yield (
            "its reset is asynchronous: in hardware, pins have their reset levels a cycle earlier than "
            "recorded"
        )
    if start.overruled:
        names = some_of(start.overruled, SHOWN)
        yield f"a run starts in the reset state; the initial value of {names} differs and is not used"
    if start.undefined:
        names = some_of(start.undefined, SHOWN)
        yield f"neither a reset nor an initial value sets {names}: undefined bits read as 0"


_CLASSES: dict[object, type[VerilogHardware]] = {}


def load(name: str, folder: Path, options: Mapping[str, Any]) -> type[VerilogHardware]:
    """Return the class of a module.

    Parameters
    ----------
    name : ``file.v:module``, or ``file.v`` if there is only one in it
    folder : where files are looked up
    options : the tables ``verilog`` and ``ports`` of the slot, and ``table``, its registers; or
        ``declaration``, the model that has them

    Raises
    ------
    InputError : it cannot be read, or is refused; ``key`` is the key below the slot
    """
    front_end.check_installed(f"Verilog ({name!r})")
    file, colon, module = (
        name.rpartition(":") if not name.endswith((".v", ".sv")) else (name, "", "")
    )
    if colon and not module:
        raise InputError.of(f"must name the module too, such as '{file}:dimmer'")
    source = _source(file, module, folder, options.get("verilog") or {})
    ports, declaration = options.get("ports") or {}, options.get("declaration")
    table = options.get("table") or RegisterTable()
    if declaration is not None and has_one_table(declaration):
        table, declaration = declaration.table, None
    if source.key is None:  # nobody knows whether it is still the same
        return _class(source, ports, table, declaration)
    key = (source, source.key, repr(ports), repr(list(table)), declaration)
    if key not in _CLASSES:
        _CLASSES[key] = _class(source, ports, table, declaration)
    return _CLASSES[key]


def _class(
    source: Source,
    ports: Mapping[str, Any],
    table: RegisterTable,
    declaration: type[Declaration] | None,
) -> type[VerilogHardware]:
    outline, warnings = source.outline({})
    settings = tuple(
        # No default: that of one parameter may follow from another.
        Setting(
            name, None, low=-(1 << 31), high=(1 << 64) - 1, example=value,
            text=f"Parameter {name}; {value} if no other parameter changes it.",
        )
        for name, value in parameters_of(outline)
    )  # fmt: skip
    made = _make(source, ports, {}, outline, warnings)
    roles = made.roles
    assert roles.kind is not None
    return type(
        source.top,
        (VerilogHardware,),
        {
            "__doc__": f"Module {source.top} of {source.files[0]}.",
            "source": source,
            "given_ports": ports,
            "settings": settings,
            "table": table,
            "declaration": declaration,
            "listed": bool(list(table)) or declaration is not None,
            "port_kind": roles.kind.name,
            "port_lacks": frozenset(one.name for one in roles.kind.roles) - roles.bus.keys(),
            "address_words": roles.words,
            "late": roles.late,
            "_made": {(): made},
        },
    )


def _source(file: str, module: str, folder: Path, given: Mapping[str, Any]) -> Source:
    mistakes = [
        Mistake(
            f"unknown key {key!r}{nearest(key, KEYS)} (known: {', '.join(KEYS)})",
            key=f"verilog.{key}",
        )
        for key in given
        if key not in KEYS
    ]
    for key in ("files", "include"):
        names = given.get(key, [])
        if not isinstance(names, list) or not all(isinstance(one, str) and one for one in names):
            text = f"must be a list of names such as ['pwm.v'], not {format_value(names)}"
            mistakes.append(Mistake(text, key=f"verilog.{key}"))
    defines = given.get("defines", {})
    if not isinstance(defines, Mapping) or not all(
        isinstance(one, str | int) for one in defines.values()
    ):
        text = f"must be a table of macros and their texts, not {format_value(defines)}"
        mistakes.append(Mistake(text, key="verilog.defines"))
    if mistakes:
        raise InputError(mistakes)
    for name in given.get("include", []):
        if not (folder / name).is_dir():
            raise InputError.of(f"there is no folder {name!r}", key="verilog.include")
    # The front end sees files below and above its folder, not all that there is.
    here = Path(os.path.abspath(folder / file)).parent

    def beside(names: Iterable[str]) -> tuple[str, ...]:
        try:
            return tuple(
                os.path.relpath(folder / name, here).replace(os.sep, "/") for name in names
            )
        except ValueError:
            raise InputError.of(
                "must be on the same drive as the module's file", key="verilog"
            ) from None

    return Source(
        folder=here,
        files=beside([file, *given.get("files", [])]),
        include=beside(given.get("include", [])),
        defines=tuple(sorted((name, str(text)) for name, text in defines.items())),
        module=module,
    )
