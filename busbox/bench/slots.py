"""``[slot.NAME]``: a device at its address."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field

from busbox.basics.errors import InputError, format_value, join_or, nearest
from busbox.basics.hooks import is_added, place_of, wanted
from busbox.basics.keys import Key
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.bench.settings import ask, check_settings, find_class
from busbox.bench.table import Table
from busbox.device.checking import HARDWARE_SAYS, check_pins, check_registers, check_resets
from busbox.device.pins import pin_groups
from busbox.device.twins import twin_of
from busbox.map.bits import parse_bits
from busbox.map.slots import AddressMap, Slot
from busbox.plugins import DEVICES
from busbox.registers.loading import load_registers
from busbox.system.hardware import Device

#: Keys of a slot that are for a model in Verilog only.
VERILOG_KEYS = ("ports", "verilog", "registers")


def _compare(value: object) -> frozenset[int]:
    if not isinstance(value, str):
        raise ValueError(f"must be ranges and bits such as '31..28, 5', not {format_value(value)}")
    try:
        return parse_bits(value)
    except ValueError as error:
        raise ValueError(str(error).removeprefix("compare ")) from None


class SlotTable(Table):
    """``[slot.NAME]``; what is not named here is a setting of the model."""

    model_config = ConfigDict(extra="allow", strict=True, arbitrary_types_allowed=True)

    model: Annotated[
        Any,
        Key(
            "The device: a model by its name, a class in a Python file, or a module in Verilog.",
            "the name of a model, 'file.py:Class' or 'file.v:module'",
            "'gpio'",
        ),
    ]
    base: Annotated[
        int,
        Field(ge=0, le=(1 << 32) - 1),
        Key(
            "First byte address of the slot.",
            "a whole number from 0 to 0xffffffff",
            "0x4000_0000",
            "byte address",
        ),
    ]
    size: Annotated[
        int,
        Field(ge=4, le=1 << 32),
        Key(
            "Length of the slot.",
            "a whole number from 4 to 0x100000000",
            "0x1000",
            "bytes",
        ),
    ]
    compare: Annotated[
        Any,
        BeforeValidator(_compare),
        Key(
            "The address bits that are compared with base; other bits make images.",
            "ranges and bits such as '31..28, 5'",
            "'31..12'",
            default="as decode says",
        ),
    ] = None
    decode: Annotated[
        Literal["full", "range"] | None,
        Key(
            "Compares all bits above the size (full), or the range from base on (range).",
            "'full' or 'range'",
            "'range'",
            default="'full'",
        ),
    ] = None
    wait: Annotated[
        int,
        Field(ge=0, le=65_535),
        Key(
            "Wait states of an access.",
            "a whole number from 0 to 65,535",
            "2",
            "cycles",
        ),
    ] = 1
    yields_to: Annotated[
        list[str],
        Key(
            "Slots that answer instead where both decode an address.",
            'a list of slot names such as ["levers"]',
            '["levers"]',
            default="none",
            item="the name of a slot",
        ),
    ] = Field(default_factory=list)
    built_as: Annotated[
        Literal["model", "hardware"] | None,
        Key(
            "Runs the model in Python, or its hardware twin.",
            "'model' or 'hardware'",
            "'hardware'",
            default="what model names",
        ),
    ] = Field(default=None, alias="as")

    ports: Annotated[
        dict[str, Any] | None,
        Key(
            "What the ports of a Verilog module are: bus, clock, reset, pins.",
            "a table of roles and the names of ports",
            '{ clock = "clk_25" }',
            default="guessed by name",
        ),
    ] = None
    verilog: Annotated[
        dict[str, Any] | None,
        Key(
            "Further files of a Verilog module, folders of included files, macros.",
            "a table with files, include, defines",
            '{ files = ["pwm.v"] }',
            default="none",
        ),
    ] = None

    registers: Annotated[
        str | None,
        Key(
            "The registers of a Verilog module: a declaration beside it.",
            "'FILE.toml', 'FILE.rdl' (SystemRDL) or 'FILE.py:NAME'",
            "'dimmer.toml'",
            default="none: findings speak of offsets",
        ),
    ] = None

    def _options(self, path: KeyPath, context: Context) -> dict[str, Any] | None:
        """Return what it says of a module in Verilog; None, and a note, if that is wrong."""
        given: dict[str, Any] = {"ports": self.ports, "verilog": self.verilog}
        in_verilog = isinstance(self.model, str) and bool(DEVICES.loader(self.model))
        for key, value in (given | {"registers": self.registers}).items():
            if value is not None and not in_verilog:
                text = (
                    "is only allowed for a Verilog model such as 'dimmer.v:dimmer', not "
                    f"{format_value(self.model)}"
                )
                context.mistakes.note((*path, key), text)
                return None
        if self.registers is not None:
            try:
                given["table"] = load_registers(self.registers, context.folder)
            except InputError as error:
                for mistake in error.mistakes:
                    context.mistakes.note((*path, "registers"), str(mistake))
                return None
        return given

    def build(self, name: str, context: Context) -> Device | None:
        """Return the device, or None if a mistake keeps it out."""
        before = len(context.mistakes)
        path: KeyPath = ("slot", name)
        context.check_name(path, name, "a slot")
        if self.compare is not None and self.decode is not None:
            text = "cannot be combined with compare; give only one of them"
            context.mistakes.note((*path, "decode"), text)
        options = self._options(path, context)
        model = None if options is None else _model(path, self.model, context, options)
        if model is not None:
            model = self._as_asked(path, model, context)
        settings = {}
        if model is not None:
            settings = check_settings(
                path, model, self.model_extra or {}, _keys_for(self.model), context
            )
        slot = self._slot(name)
        for key, text in slot.mistakes():
            context.mistakes.note((*path, key), text)
        if len(context.mistakes) > before:
            return None
        return self._device(path, slot, model, settings, context)

    def _slot(self, name: str) -> Slot:
        decode = "compare" if self.compare is not None else self.decode or "full"
        compare = self.compare or frozenset()
        return Slot(name, self.base, self.size, decode, compare, self.wait, tuple(self.yields_to))

    def _as_asked(self, path: KeyPath, model: Any, context: Context) -> Any:
        """Return what the slot holds: the model, or its twin in Amaranth."""
        note = context.mistakes.note
        if self.built_as == "hardware" and not model.in_amaranth:
            try:
                model = twin_of(model, format_value(self.model))
            except InputError as error:
                note((*path, "as"), str(error))
                return None
        elif self.built_as == "model" and model.in_amaranth:
            note(
                (*path, "as"),
                f"{format_value(self.model)} is a hardware device and has no Python model",
            )
        if model.in_amaranth and self.wait < model.least_wait:
            least = f"at least {model.least_wait} for {model.__name__}"
            note((*path, "wait"), f"must be {least}, not {self.wait}")
        return model

    def _device(
        self, path: KeyPath, slot: Slot, model: Any, settings: dict[str, Any], context: Context
    ) -> Device | None:
        at = (*path, "model")
        table = ask(at, model, "table_for", settings, slot.size, context=context)
        pins = ask(at, model, "pins_for", settings, context=context)
        asked = ("resets_for", settings, context.clock_hz)
        resets = ask(at, model, *asked, context=context) if hasattr(model, "resets_for") else {}
        if table is None or pins is None or resets is None:
            return None
        asked_last = model.table_for
        try:
            check_registers(table)
            asked_last = model.pins_for
            check_pins(pins)
            if model.in_amaranth:
                pin_groups(tuple(pins))
            asked_last = getattr(model, "resets_for", model)
            check_resets(resets)
            table = table.with_resets(resets)
        except ValueError as error:
            place = place_of(asked_last) if is_added(model) else ""
            context.mistakes.note(at, f"{error}{place}")
            return None
        if model.in_amaranth and not _hardware_is_fine(at, model, settings, context):
            return None
        if table.end > slot.size:
            least = f"at least {table.end:#x}, to hold the model's registers"
            context.mistakes.note((*path, "size"), f"must be {least}, not {slot.size:#x}")
            return None
        for pin in pins:
            if pin.carries and (pin.direction != "output" or pin.carries not in model.sends):
                text = f"pin {pin.name} carries {format_value(pin.carries)}"
                rule = "only an output pin may, and only what its device sends"
                context.mistakes.note(at, f"{text}: {rule} ({join_or(model.sends)})")
                return None
        kind = self.model if isinstance(self.model, str) else self.model.__name__
        return Device(replace(slot, table=table), model, kind, settings, tuple(pins))


def _hardware_is_fine(path: KeyPath, model: Any, settings: object, context: Context) -> bool:
    """Return whether what a class of hardware says of itself is fine, and note what is not."""
    for method, check in HARDWARE_SAYS.items():
        if not hasattr(model, method):
            continue
        said = ask(path, model, method, settings, context=context)
        if said is None:
            return False
        mistake = check(said)
        if mistake:
            text = f"its {wanted(method, mistake, said)}{place_of(getattr(model, method))}"
            context.mistakes.note(path, text)
            return False
    return True


def build_devices(tables: Mapping[str, SlotTable], context: Context) -> tuple[Device, ...]:
    """Return the devices whose slots have no mistake, in the order of the bench."""
    built = [table.build(name, context) for name, table in tables.items()]
    yields = [_check_yield(name, table.yields_to, context) for name, table in tables.items()]
    devices = tuple(device for device in built if device is not None)
    if all(yields):
        _check_cycles(devices, context)
        _check_overlaps(devices, context)
    return devices


def check_broken(name: str, given: object, context: Context) -> None:
    """Look for mistakes in a slot's name and settings although its own keys are wrong."""
    path = ("slot", name)
    context.check_name(path, name, "a slot")
    if not isinstance(given, dict) or "model" not in given:
        return
    if isinstance(given["model"], str) and DEVICES.loader(given["model"]):
        return  # what else the slot says of it may be wrong
    keys = _keys_for(given["model"])
    model = _model(path, given["model"], context)
    if model is not None:
        settings = {key: given[key] for key in given if key not in keys}
        check_settings(path, model, settings, keys, context)


def _keys_for(model: object) -> list[str]:
    """Return the keys of a slot that can be given for a model: some are for Verilog only."""
    in_verilog = isinstance(model, str) and bool(DEVICES.loader(model))
    keys = SlotTable.keys()
    return [key for key in keys if in_verilog or key not in VERILOG_KEYS]


def _model(
    path: KeyPath, given: object, context: Context, options: Mapping[str, Any] | None = None
) -> Any:
    at, keys = (*path, "model"), SlotTable.keys()
    model = find_class(at, given, context, DEVICES, "gpio", options)
    taken = [] if model is None else [one.name for one in model.settings if one.name in keys]
    if taken:
        context.mistakes.note(at, f"its setting {taken[0]!r} has the same name as a key of a slot")
        return None
    return model


def _check_yield(name: str, yields_to: Sequence[str], context: Context) -> bool:
    others = [other for other in context.slots if other != name]
    wrong = [other for other in yields_to if other not in others]
    for other in wrong:
        close = " itself" if other == name else nearest(other, others)
        text = f"must name other slots, not {other!r}{close}"
        context.mistakes.note(("slot", name, "yields_to"), text)
    return not wrong


def _check_cycles(devices: Sequence[Device], context: Context) -> None:
    """Note the first slot that yields to itself by way of others."""
    gives = {device.name: device.slot.yields_to for device in devices}
    for name in gives:
        cycle = _cycle(name, gives)
        if cycle:
            text = f"must not form a cycle: {' -> '.join(cycle)}"
            context.mistakes.note(("slot", name, "yields_to"), text)
            return


def _cycle(name: str, gives: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Return the shortest way from a slot back to itself, or nothing."""
    trails: list[tuple[str, ...]] = [(name,)]
    seen: set[str] = set()
    while trails:
        trail = trails.pop(0)
        for other in gives.get(trail[-1], ()):
            if other == name:
                return (*trail, name)
            if other not in seen:
                seen.add(other)
                trails.append((*trail, other))
    return ()


def _check_overlaps(devices: Sequence[Device], context: Context) -> None:
    for one, other, first, last in AddressMap([device.slot for device in devices]).overlaps():
        paths: list[KeyPath] = [("slot", slot.name, "base") for slot in (other, one)]
        moved = [path for path in paths if context.mistakes.is_set(path)]
        path = (moved or paths)[0]
        met = one if path[1] == other.name else other
        context.mistakes.note(
            path,
            f"the slot overlaps slot {met.name!r}: both answer at {first:#010x}..{last:#010x} "
            f'(move one, or let one give way: yields_to = ["{met.name}"])',
        )
