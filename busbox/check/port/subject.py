"""The component under check: how it is found and built, and what is refused."""

from __future__ import annotations

import gc
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from amaranth.hdl import UnusedElaboratable
from amaranth.lib import wiring

from busbox.basics.errors import InputError, Mistake, format_value, join_or, nearest
from busbox.basics.hooks import PASSING, told
from busbox.basics.loading import load_object
from busbox.basics.units import show_clock
from busbox.bench.bench import Bench
from busbox.bench.set_values import toml_value
from busbox.bus import wishbone
from busbox.bus.ports import PortKind
from busbox.bus.ports.hardware import Bridged, PortedHardware
from busbox.check.own.port import OwnPort, recognised, signals_of
from busbox.device import Site
from busbox.device.twins import twin_of
from busbox.engines.netlist import Program
from busbox.engines.paths import program_alone
from busbox.map.registers import RegisterTable
from busbox.plugins import DEVICES
from busbox.plugins import find as find_named
from busbox.system.hardware import Device

#: What a slot's keys are called on the command line of the check.
_OPTIONS = {"clock": "--clock", "slot.device.size": "--size", "slot.device": "--set"}
_SETTING = "slot.device."
#: Tables of a slot that say how a module in Verilog is taken.
_VERILOG = ("ports", "verilog")


@dataclass(frozen=True)
class Subject:
    """A component to be checked.

    Attributes
    ----------
    name : as messages call it
    kind : name of its class
    factory : builds one
    words : number of word addresses to use, from 0; None for all that its port has
    table : its registers, or None for a component that declares none and has no watch port
    least_wait : cycles that the address must be on the port before STB, at least
    own : its own port, if that is of another kind than the fabric's
    """

    name: str
    kind: str
    factory: Callable[[], Any]
    words: int | None = None
    table: RegisterTable | None = None
    least_wait: int = 0
    own: OwnPort | None = None

    @classmethod
    def of_device(cls, device: Device, clock_hz: int) -> Subject:
        """Return the hardware device of a bench's slot."""
        slot = device.slot
        site = Site(slot.name, slot.base, slot.size, clock_hz)

        def factory() -> Any:
            return device.model(site, **device.settings)

        ported = issubclass(device.model, PortedHardware)
        return cls(
            name=device.kind,
            kind=device.model.__name__,
            factory=factory,
            words=slot.size // 4,
            table=slot.table if device.model.listed or not ported else None,
            least_wait=device.model.least_wait,
            own=OwnPort.of_device(device.model, factory) if ported else None,
        )

    @property
    def withdraws(self) -> bool:
        """Whether an access can be withdrawn before its answer."""
        return self.own is None or self.own.withdraws

    def build(self) -> Any:
        """Return a new component.

        Raises
        ------
        InputError : it cannot be built, is not a component, or has no bus port
        """
        return _built(self.name, self.factory, _no_port)

    def build_own(self) -> Any:
        """Return a new component without a bridge.

        Raises
        ------
        InputError : it cannot be built
        """
        assert self.own is not None
        return _built(self.name, self.own.factory, lambda component: "")

    @cached_property
    def program(self) -> Program:
        """The program of its netlist, under the name of its class.

        Raises
        ------
        InputError : it cannot be built
        NetlistError : no engine can run it unchanged, so that a simulation would say nothing about it
        """
        return program_alone(self.build(), self.kind)

    @cached_property
    def own_program(self) -> Program:
        """The program of the component without a bridge; its port's roles are ``port_NAME``.

        Raises
        ------
        InputError : it cannot be built
        NetlistError : no engine can run it unchanged
        """
        component = self.build_own()
        ports = {f"port_{name}": signal for name, signal in signals_of(component).items()}
        return program_alone(component, self.kind, ports)


def _built(name: str, factory: Callable[[], Any], problem_of: Callable[[Any], str]) -> Any:
    """Return a new component, unless there is a problem with it."""
    found = None
    try:
        found = factory()
        problem = problem_of(found)
    except PASSING:
        raise
    except BaseException as error:
        problem = f"cannot be built: it raised {told(error, factory)}"
    if problem:
        del found
        discard()
        raise InputError.of(problem, name)
    return found


def discard() -> None:
    """Discard components that were never simulated, without a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UnusedElaboratable)
        gc.collect()


def _no_port(component: Any) -> str:
    """Return why a component has no port of the bus, or ""."""
    members = component.signature.members
    if "bus" not in members:
        return (
            "must have a member bus: In(wishbone.Signature(...)), or a member port of a kind of "
            f"busbox.bus.ports; it has {_names(members)}"
        )
    member = members["bus"]
    if member.is_port or member.dimensions:
        return (
            "its member bus must be one In(wishbone.Signature(...)), not a plain signal or an array"
        )
    if not isinstance(member.signature, wishbone.Signature):
        return "its member bus must have the signature busbox.bus.wishbone.Signature, not another"
    if member.signature.members["cyc"].flow != wiring.In:
        return "its member bus must be In, as on a device, not Out, as on a master"
    return ""


def _names(members: Mapping[str, Any]) -> str:
    return ", ".join(members) or "no member"


def find(name: str, values: Sequence[str], size: int, clock_hz: int) -> Subject:
    """Return the subject called ``name``.

    Parameters
    ----------
    name : ``file.py:Class`` of a component in Amaranth or of a model with a twin, or a model's name
    values : settings, each ``KEY=VALUE``; the value is TOML, else text
    size : bytes of the slot that a device is built for
    clock_hz : the clock that a device is built for

    Raises
    ------
    InputError : it does not exist, cannot be checked, or a setting is wrong
    """
    settings = _parsed(values)
    found = load_object(name, Path(), "class") if ".py:" in name else None
    if found is not None and not isinstance(found, type):
        raise InputError.of(f"must be a class, not {format_value(found)}", name)
    if found is not None and not hasattr(found, "table_for"):
        return _component(name, found, settings)
    options = {
        key: settings.pop(key) for key in _VERILOG if DEVICES.loader(name) and key in settings
    }
    device = find_named(DEVICES, name, options=options)
    if not device.in_amaranth:
        device = twin_of(device, name)
    _check_keys(device, settings)
    return Subject.of_device(_in_a_slot(name, device, settings, size, clock_hz), clock_hz)


def _component(name: str, found: type, settings: dict[str, Any]) -> Subject:
    """Return a component that is not a hardware device of Busbox."""
    if not issubclass(found, wiring.Component):
        raise InputError.of(
            "must be an Amaranth component with a member bus or port, a hardware device "
            "(busbox.Hardware) or a model that names a twin",
            name,
        )
    own = _own_port(name, lambda: found(**settings))
    if own is None:
        return Subject(name, found.__name__, lambda: found(**settings))

    def bridged() -> Bridged:
        component = own.factory()
        return Bridged(component, signals_of(component), own.kind)

    return Subject(
        name,
        found.__name__,
        bridged,
        least_wait=own.least_wait,
        own=own,
    )


def _own_port(name: str, factory: Callable[[], Any]) -> OwnPort | None:
    """Return the own port of a component, or None if it has a member bus, or no port."""
    found: list[tuple[PortKind, frozenset[str]] | str] = []

    def look(component: Any) -> str:
        members = component.signature.members
        if "port" in members and "bus" not in members:
            found.append(recognised(component))
        return ""

    _built(name, factory, look)
    discard()
    if not found:
        return None
    if isinstance(found[0], str):
        raise InputError.of(found[0], name)
    kind, lacks = found[0]
    return OwnPort(kind, lacks, kind.words, False, factory)


def _parsed(values: Sequence[str]) -> dict[str, Any]:
    """Return the settings of a command line."""
    settings = {}
    for given in values:
        key, sign, text = (part.strip() for part in given.partition("="))
        if not sign or not key:
            raise InputError.of(f"must be KEY=VALUE such as width=8, not {given!r}", "--set")
        settings[key] = toml_value(text)
    return settings


def _check_keys(device: Any, settings: Mapping[str, Any]) -> None:
    """Refuse settings that the device does not declare."""
    known = [one.name for one in device.settings]
    mistakes = [
        Mistake(f"unknown key {key!r}{nearest(key, known)} (known: {join_or(known)})", "--set")
        for key in settings
        if key not in known
    ]
    if mistakes:
        raise InputError(mistakes)


def _in_a_slot(
    name: str, device: Any, settings: dict[str, Any], size: int, clock_hz: int
) -> Device:
    """Return the device alone in a slot, checked as in a bench."""
    slot = {
        "model": device,
        "base": 0,
        "size": size,
        "decode": "range",
        "wait": device.least_wait,
        **settings,
    }
    try:
        (built,) = Bench({"clock": show_clock(clock_hz), "slot": {"device": slot}}).devices()
    except InputError as error:
        raise InputError([_reworded(name, mistake) for mistake in error.mistakes]) from None
    return replace(built, kind=name)


def _reworded(name: str, mistake: Mistake) -> Mistake:
    """Return a mistake of the slot in terms of the command line."""
    if mistake.key in _OPTIONS:
        return Mistake(mistake.text, _OPTIONS[mistake.key])
    key = mistake.key.removeprefix(_SETTING)
    if key in ("model", mistake.key):
        return Mistake(mistake.text, name)
    return Mistake(mistake.text, "--set", key=key)
