"""Which port of a module is what: clock, reset, signals of the bus, pins.

A port is recognised by name, or the bench names it. A name is compared in lower case, and without what
only shows its direction or its bus (``_i``, ``o_``, ``s_axi_``, ``wb_``). The kind of port is the one
whose required roles are all present; if that fits none or several, the bench must name it. Sources of
the names: Wishbone B4, AMBA APB and AMBA AXI for their signals; for clock, reset, ``dat_w``, ``dat_r``
and the rest, common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from busbox.basics.errors import format_value, join_and, join_or, nearest
from busbox.bus.ports import KINDS, PortKind, Role
from busbox.verilog.netlist import Port

#: Keys of ``[slot.NAME.ports]`` that are no roles of a bus.
KEYS = (
    "bus", "clock", "reset", "reset_low", "addresses", "late", "at_rest", "busy", "pins", "high",
)  # fmt: skip
#: Those that name a port.
_PORTS = ("clock", "reset", "at_rest", "busy")
_CLOCKS = ("clk", "clock", "aclk", "pclk", "sysclk", "sys_clk", "hclk")
_RESETS = ("rst", "reset", "areset", "preset", "sysrst", "sys_rst", "arst", "srst")
_RESETS_LOW = tuple(
    f"{name}{mark}" for name in _RESETS for mark in ("n", "_n", "b", "_b", "_ni", "ni", "_l")
)
_BUSES = re.compile(
    r"^(?:[io]_)?(?:(?:s\d*|slv|slave)_)?(?:axil?|axi4?_?lite|apb|wbs?|bus)_|^[io]_|^s_"
)
_WAYS = re.compile(r"_(?:i|o|in|out)$")


@dataclass
class Roles:
    """What the ports of a module are.

    Attributes
    ----------
    kind : of its bus port
    clock, reset : names of ports; "" if it has none
    reset_low : the reset acts while it is low
    bus : role to the name of its port
    words : addresses count words
    late : read data comes a cycle late
    resting : port that is high at rest, or low if it comes from ``busy``; "" if there is none
    resting_low : whether ``resting`` comes from ``busy``
    pins : name of a pin's member to the name of its port
    enables : name of a pin's member to the port that releases it while it is low, where there is one:
        an output called as the pin, with ``_enable``, ``_en`` or ``_oe``, and as wide
    high : input pins that are high while nothing drives them
    mistakes : (key, text) of what is wrong; key "" for the table
    """

    kind: PortKind | None = None
    clock: str = ""
    reset: str = ""
    reset_low: bool = False
    bus: dict[str, str] = field(default_factory=dict)
    words: bool = False
    late: bool = False
    resting: str = ""
    resting_low: bool = False
    pins: dict[str, str] = field(default_factory=dict)
    enables: dict[str, str] = field(default_factory=dict)
    high: tuple[str, ...] = ()
    mistakes: list[tuple[str, str]] = field(default_factory=list)


def roles_of(ports: Mapping[str, Port], given: Mapping[str, Any]) -> Roles:
    """Return the roles of a module's ports.

    Parameters
    ----------
    given : the table ``[slot.NAME.ports]``
    """
    return _Roles(ports, given).found


class _Roles:
    def __init__(self, ports: Mapping[str, Port], given: Mapping[str, Any]) -> None:
        self._ports, self._given = ports, given
        self._left = dict.fromkeys(ports)
        self.found = Roles()
        self._check_keys()
        if not self.found.mistakes:
            self._clock_and_reset()
            self._bus()
        if not self.found.mistakes:
            self._rest_and_pins()

    def _note(self, key: str, text: str) -> None:
        self.found.mistakes.append((key, text))

    def _check_keys(self) -> None:
        given = self._given
        kind = given.get("bus")
        kinds = [KINDS[kind]] if isinstance(kind, str) and kind in KINDS else list(KINDS.values())
        known = [*KEYS, *dict.fromkeys(role.name for one in kinds for role in one.roles)]
        for key in given:
            if key not in known:
                self._note(
                    key, f"unknown key {key!r}{nearest(key, known)} (known: {join_or(known)})"
                )
        for key, choices in (
            ("bus", tuple(KINDS)), ("addresses", ("bytes", "words")),
            ("reset_low", (True, False)), ("late", (True, False)),
        ):  # fmt: skip
            value = given.get(key, choices[0])
            if not any(type(value) is type(one) and value == one for one in choices):
                allowed = join_or(format_value(one) for one in choices)
                self._note(key, f"must be {allowed}, not {format_value(value)}")
        for key in given:
            if key in known and (key in _PORTS or key not in KEYS):
                self._port_named(key, given[key])
        pins = given.get("pins", {})
        if not isinstance(pins, Mapping):
            self._note("pins", f"must be a table of pins and their ports, not {format_value(pins)}")
            return
        for name, port in pins.items():
            if not re.fullmatch(r"[A-Za-z_]\w*", name):
                self._note(
                    "pins", f"a pin's name may contain only letters, digits and _, not {name!r}"
                )
            self._port_named(f"pins.{name}", port)
        if not self.found.mistakes:
            self._check_once()

    def _check_once(self) -> None:
        """Note ports that are named for two things."""
        given, seen = self._given, dict[str, str]()
        named = [(key, port) for key, port in given.items() if key in _PORTS or key not in KEYS]
        named += [(f"pins.{name}", port) for name, port in given.get("pins", {}).items()]
        for key, port in named:
            other = seen.setdefault(port, key) if port else key
            if other != key:
                self._note(key, f"port {port!r} is already named by {other}; choose another")

    def _port_named(self, key: str, name: object) -> None:
        if name == "" and key in ("reset", "clock"):
            return
        if not isinstance(name, str) or name not in self._ports:
            close = nearest(name, list(self._ports)) if isinstance(name, str) else ""
            have = join_and(self._ports)
            self._note(
                key, f"must be a port of the module ({have}), not {format_value(name)}{close}"
            )

    def _clock_and_reset(self) -> None:
        found, given = self.found, self._given
        inputs = [
            one.name for one in self._ports.values() if one.direction == "input" and one.width == 1
        ]
        found.clock = given.get("clock", self._one("clock", inputs, _CLOCKS))
        lows = [name for name in inputs if _bare(name) in _RESETS_LOW]
        found.reset = given.get("reset", self._one("reset", inputs, (*_RESETS, *_RESETS_LOW)))
        found.reset_low = given.get("reset_low", found.reset in lows)
        for key, name in (("clock", found.clock), ("reset", found.reset)):
            if name and name not in inputs:
                self._note(key, f"must be an input of one bit, not {name!r}")
            self._left.pop(name, None)

    def _one(self, key: str, inputs: list[str], names: tuple[str, ...]) -> str:
        """Return the one input that has one of some names, or ""."""
        fits = [name for name in inputs if _bare(name) in names]
        if len(fits) > 1:
            self._note(key, f"must be given: it may be {join_or(fits)}")
        return fits[0] if len(fits) == 1 else ""

    def _bus(self) -> None:
        given, found = self._given, self.found
        wanted = given.get("bus")
        tried = {kind: self._roles(kind) for kind in KINDS.values() if wanted in (None, kind.name)}
        fitting = {kind: roles for kind, roles in tried.items() if not self._missing(kind, roles)}
        if len(fitting) > 1 and wanted is None:
            # Of kinds whose roles overlap, the one that explains the most ports.
            most = max(len(roles) for roles in fitting.values())
            fitting = {kind: roles for kind, roles in fitting.items() if len(roles) == most}
        if len(fitting) != 1:
            self._no_bus(wanted, tried, fitting)
            return
        ((found.kind, found.bus),) = fitting.items()
        for name, port in found.bus.items():
            self._check_role(found.kind.role(name), self._ports[port])
            self._left.pop(port, None)
        addresses = [self._ports[found.bus[name]] for name in found.kind.address]
        shown = {port.low for port in addresses}
        guess = shown == {2} or (found.kind.words and shown == {0})
        found.words = given["addresses"] == "words" if "addresses" in given else guess
        found.late = given.get("late", False)
        if found.late and found.kind.name != "strobes":
            self._note(
                "late",
                "is only allowed for a port of kind strobes; a port of kind "
                f"{found.kind.name} signals when data is valid: remove this key",
            )

    def _roles(self, kind: PortKind) -> dict[str, str]:
        """Return the ports that have the roles of a kind, as far as they are found."""
        found: dict[str, str] = {}
        named = [role.name for role in kind.roles] + ["at_rest", "busy"]
        taken = {self._given.get(name) for name in named}
        taken |= set(self._given.get("pins", {}).values())
        for role in kind.roles:
            if role.name in self._given:
                found[role.name] = self._given[role.name]
                continue
            for port in self._left:
                if port not in taken and _names(self._ports[port]) & {role.name, *role.others} and (
                    (self._ports[port].direction == "input") == role.driven
                ) and role.fits(self._ports[port].width):  # fmt: skip
                    found[role.name] = port
                    taken.add(port)
                    break
        return found

    @staticmethod
    def _missing(kind: PortKind, roles: Mapping[str, str]) -> list[str]:
        return [role.name for role in kind.roles if role.needed and role.name not in roles]

    def _no_bus(
        self, wanted: str | None, tried: Mapping[PortKind, Any], fitting: Mapping[PortKind, Any]
    ) -> None:
        if fitting:
            names = join_or(kind.name for kind in fitting)
            self._note("bus", f"must be given: the module's port may be of kind {names}")
            return
        kind = min(tried, key=lambda one: len(self._missing(one, tried[one])) / len(one.roles))
        missing = self._missing(kind, tried[kind])
        ports = join_and(self._ports)
        what = f"of kind {kind.name}" if wanted else f"of a known kind; closest is {kind.name}"
        self._note(
            "",
            f"the module has no bus port {what}, without {join_and(missing)} (its ports: {ports}); "
            "name the missing signals under ports, such as "
            f'{missing[0]} = "{next(iter(self._left), "x")}"',
        )

    def _check_role(self, role: Role, port: Port) -> None:
        way = "input" if role.driven else "output"
        if port.direction != way:
            self._note(
                role.name, f"must be an {way} of the module; {port.name} is an {port.direction}"
            )
        elif not role.fits(port.width):
            self._note(role.name, f"must have {role.bits}; {port.name} has {port.width}")

    def _rest_and_pins(self) -> None:
        found, given = self.found, self._given
        for key in ("at_rest", "busy"):
            name = given.get(key)
            if name is None:
                continue
            if found.resting:
                self._note(key, "cannot be combined with at_rest; give only one of them")
            if self._ports[name].direction != "output" or self._ports[name].width != 1:
                self._note(key, f"must be an output of one bit, not {name!r}")
            found.resting, found.resting_low = name, key == "busy"
        named = {port: pin for pin, port in given.get("pins", {}).items()}
        for port, pin in named.items():
            if port not in self._left:
                self._note(
                    f"pins.{pin}", f"{port!r} is already clock, reset or part of the bus port"
                )
        for port in self._left:
            pin = named.get(port, port)
            if port == found.resting:
                continue
            if pin in found.pins:
                text = f"the name is taken by the pin of port {found.pins[pin]}; choose another"
                self._note(f"pins.{pin}", text)
            found.pins[pin] = port
        self._find_enables()
        self._find_high()
        for port in found.pins.values():
            if self._ports[port].direction == "inout":
                self._note(
                    "",
                    f"port {port} is an inout, which a slot cannot connect; use an input, an output "
                    "and an enable (NAME_enable)",
                )

    def _find_high(self) -> None:
        given, pins = self._given.get("high", []), self.found.pins
        inputs = [pin for pin, port in pins.items() if self._ports[port].direction == "input"]
        if not isinstance(given, list) or not all(pin in inputs for pin in given):
            known = f" (known: {join_or(inputs)})" if inputs else ""
            text = f"must be a list of input pins{known}, not {format_value(given)}"
            self._note("high", text)
            return
        self.found.high = tuple(given)

    def _find_enables(self) -> None:
        found, ports = self.found, self._ports
        outputs = {name: ports[port] for name, port in found.pins.items()}
        for name, port in outputs.items():
            for ending in ("_enable", "_en", "_oe"):
                enable = outputs.get(name + ending)
                both = port.direction, enable and enable.direction
                if enable and both == ("output", "output") and port.width == enable.width:
                    found.enables.setdefault(name, enable.name)
        for name in [one for one, port in found.pins.items() if port in found.enables.values()]:
            del found.pins[name]


def _bare(name: str) -> str:
    """Return a port's name without its direction and its bus."""
    return _WAYS.sub("", _BUSES.sub("", name.lower()))


def _names(port: Port) -> set[str]:
    """Return the names by which a port may be known."""
    lowered, bare = port.name.lower(), _bare(port.name)
    marked = f"{bare}_{port.direction[0]}"  # as if the name had its direction: dat_i and dat_o
    return {lowered, _BUSES.sub("", lowered), bare, marked} - {"dat", "data"}
