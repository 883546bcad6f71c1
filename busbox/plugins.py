"""Where models come from: names, entry points, files beside the bench, classes."""

from __future__ import annotations

import importlib
import importlib.machinery
import importlib.metadata
import importlib.util
import sys
from collections.abc import Mapping
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

from busbox.basics.errors import InputError, line_in, nearest, no_file, one_of, raised, shown

#: The models that come with Busbox, imported on first use.
MODELS = {
    "gpio": "busbox.models.gpio:Gpio",
    "uart": "busbox.models.uart:Uart",
    "pulse_led": "busbox.models.pulse_led:PulseLed",
    "timer": "busbox.models.timer:Timer",
    "memory": "busbox.models.memory:Memory",
}

#: Group of entry points under which a plug-in offers models.
ENTRY_POINTS = "busbox.models"

#: What can be attached to pins, imported on first use.
ATTACHMENTS = {
    "lamp_string": "busbox.board.lamp_string:LampString",
    "terminal": "busbox.board.terminal:Terminal",
    "switch": "busbox.board.switch:Switch",
    "level": "busbox.board.duty:Level",
}
#: Group of entry points under which a plug-in offers attachments.
ATTACHMENT_POINTS = "busbox.attachments"

#: The rules of findings, in the order in which they are looked at, imported on first use.
RULES = {
    "unmapped-access": "busbox.findings.unmapped_access:unmapped_access",
    "no-answer": "busbox.findings.no_answer:no_answer",
    "bus-hang": "busbox.findings.bus_hang:bus_hang",
    "wishbone-rule": "busbox.findings.wishbone_rule:wishbone_rule",
    "image-access": "busbox.findings.image_access:image_access",
    "register-hole": "busbox.findings.register_hole:register_hole",
    "read-only-write": "busbox.findings.read_only_write:read_only_write",
    "write-only-read": "busbox.findings.write_only_read:write_only_read",
    "lanes-lost": "busbox.findings.lanes_lost:lanes_lost",
    "reserved-bits": "busbox.findings.reserved_bits:reserved_bits",
    "read-differs": "busbox.findings.read_differs:read_differs",
    "poll-timeout": "busbox.findings.poll_timeout:poll_timeout",
    "poll-storm": "busbox.findings.poll_storm:poll_storm",
    "uninitialised-read": "busbox.findings.uninitialised_read:uninitialised_read",
    "rom-write": "busbox.findings.rom_write:rom_write",
    "frame-missed": "busbox.findings.frame_missed:frame_missed",
    "byte-lost": "busbox.findings.byte_lost:byte_lost",
    "framing": "busbox.findings.framing:framing",
    "baud-error": "busbox.findings.baud_error:baud_error",
    "interrupt-stuck": "busbox.findings.interrupt_stuck:interrupt_stuck",
    "pulse-width": "busbox.findings.pulse_width:pulse_width",
    "latch-gap": "busbox.findings.latch_gap:latch_gap",
    "broken-bit-count": "busbox.findings.broken_bit_count:broken_bit_count",
    "colour-order": "busbox.findings.colour_order:colour_order",
    "supply-current": "busbox.findings.supply_current:supply_current",
    "flash-rate": "busbox.findings.flash_rate:flash_rate",
}
#: Group of entry points under which a plug-in offers rules.
RULE_POINTS = "busbox.rules"

_CONTRACT = (
    "check", "table_for", "pins_for", "access", "input", "wake", "advance", "close", "reset",
    "next_edge", "rest_at", "registers",
)  # fmt: skip
_CONTRACT_VALUES = ("settings", "sends", "in_amaranth")


def model_class(name: str, folder: Path) -> Any:
    """Return the model class called ``name``: ``gpio``, a plug-in's name, or ``file.py:Class``.

    Raises
    ------
    InputError : there is no such model, or its file does not load
    """
    if ".v:" in name or name.endswith(".v"):
        raise InputError.of(
            f"Verilog cannot be run, {name!r}: describe its registers as a model, or rewrite it in "
            "Amaranth (busbox.bus.hardware); its own simulation can write a waveform to compare"
        )
    if ".py:" in name:
        return checked_model(name, load_object(name, folder, "class"))
    found = _named(name, "model", MODELS, ENTRY_POINTS)
    return found if name in MODELS else checked_model(name, found)


def attachment_class(name: str, folder: Path) -> Any:
    """Return the class of the attachment called ``name``: a kind, a plug-in's, or ``file.py:Class``.

    Raises
    ------
    InputError : there is no such kind, its file does not load, or it neither decodes nor drives
    """
    if ".py:" in name:
        found = load_object(name, folder, "class")
    else:
        found = _named(name, "kind of attachment", ATTACHMENTS, ATTACHMENT_POINTS)
    return checked_attachment(name, found)


def checked_attachment(name: str, found: Any) -> Any:
    """Return an attachment's class, if it is one.

    Raises
    ------
    InputError : it neither decodes nor drives
    """
    from busbox.board.attachment import Decoder, Driver, mistake_in_rules

    if not isinstance(found, type) or not issubclass(found, Decoder | Driver):
        raise InputError.of(
            f"{name!r} must be a subclass of Decoder or Driver (busbox.board.attachment), "
            f"not {shown(found)}"
        )
    mistake = mistake_in_rules(found, RULES) if issubclass(found, Decoder) else None
    if mistake:
        raise InputError.of(f"{name!r}: {mistake}")
    return found


def rule_object(name: str, folder: Path) -> Any:
    """Return what a rule's name stands for: an id, a plug-in's, or ``file.py:function``.

    Raises
    ------
    InputError : there is no such rule, or its file does not load
    """
    if ".py:" in name:
        return load_object(name, folder, "function")
    return _named(name, "rule", RULES, RULE_POINTS)


def plugin_names(group: str) -> list[str]:
    """Return the names under which plug-ins offer something in a group of entry points."""
    return sorted({point.name for point in importlib.metadata.entry_points(group=group)})


def _named(name: str, what: str, known: Mapping[str, str], group: str) -> Any:
    """Return what a name stands for: one that comes with Busbox, or a plug-in's."""
    target = known.get(name)
    if target is not None:
        module, _, attribute = target.partition(":")
        return getattr(importlib.import_module(module), attribute)
    plugins = {point.name: point for point in importlib.metadata.entry_points(group=group)}
    if name in plugins:
        try:
            return plugins[name].load()
        except Exception as error:
            raise InputError.of(f"plug-in {name!r} does not load: {raised(error)}") from error
    if name.endswith(".py"):
        part = ("function", "bell_silent") if what == "rule" else ("class", "Bell")
        raise InputError.of(
            f"must name the {part[0]} too, such as '{name}:{part[1]}', not {name!r}"
        )
    names = [*known, *plugins]
    in_file = "file.py:function" if what == "rule" else "file.py:Class"
    raise InputError.of(
        f"there is no {what} {name!r}{nearest(name, names)} (known: {one_of([*names, in_file])})"
    )


def checked_model(name: str, found: Any) -> Any:
    """Return a model's class, if it has all that the contract asks for.

    Raises
    ------
    InputError : it is no class, or lacks something
    """
    if not isinstance(found, type):
        raise InputError.of(f"{name!r} must be a class, not {shown(found)}")
    if getattr(found, "in_amaranth", False):
        return found
    missing = [method for method in _CONTRACT if not callable(getattr(found, method, None))]
    missing += [value for value in _CONTRACT_VALUES if not hasattr(found, value)]
    if missing:
        raise InputError.of(
            f"{name!r} must be a model: it lacks {', '.join(missing)} "
            "(busbox.device.RegisterModel is a base class that has them all)"
        )
    return found


def twin_of(model: Any, name: str) -> Any:
    """Return the hardware twin that a model's class names: ``module:Class`` or ``file.py:Class``.

    A file is looked up beside the model's own.

    Raises
    ------
    InputError : it names none, or that is no hardware device
    """
    target = getattr(model, "twin", None)
    if not isinstance(target, str):
        raise InputError.of(
            f"model {name} has no twin in Amaranth; its class must name one, such as "
            "twin = 'file.py:Class'"
        )
    module, _, attribute = target.partition(":")
    if module.endswith(".py"):
        beside = Path(sys.modules[model.__module__].__file__ or "").parent
        twin = load_object(target, beside, "class")
    else:
        try:
            twin = getattr(importlib.import_module(module), attribute)
        except (ImportError, AttributeError) as error:
            raise InputError.of(f"twin {target!r} does not load: {raised(error)}") from error
    if not getattr(twin, "in_amaranth", False):
        raise InputError.of(f"twin {target!r} must be a subclass of busbox.bus.hardware.Hardware")
    return twin


def load_object(name: str, folder: Path, what: str) -> Any:
    """Return the object that ``file.py:name`` names; the file is looked up in ``folder``.

    Raises
    ------
    InputError : no such file or name, or the file raises while it loads
    """
    file, _, attribute = name.rpartition(":")
    path = folder / file
    problem = no_file(path)
    if problem:
        raise InputError.of(problem.replace(repr(str(path)), repr(file), 1))
    module = _load_file(path)
    found = getattr(module, attribute, None)
    if found is None:
        public = [
            key
            for key, value in vars(module).items()
            if getattr(value, "__module__", None) == module.__name__
        ]
        raise InputError.of(
            f"there is no {what} {attribute!r} in {file}{nearest(attribute, public)}"
        )
    return found


class _FileLoader(importlib.machinery.SourceFileLoader):
    """Loads a file as it is now, and leaves no compiled file beside it."""

    def get_code(self, fullname: str) -> CodeType | None:
        return self.source_to_code(self.get_data(self.path), self.path)


def _load_file(path: Path) -> ModuleType:
    # A file's own name in sys.modules would let two benches see each other's files.
    name = "busbox_file_" + path.stem + f"_{abs(hash(str(path.resolve()))):x}"
    spec = importlib.util.spec_from_file_location(name, path, loader=_FileLoader(name, str(path)))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except (Exception, SystemExit) as error:
        del sys.modules[name]
        where, number, text = str(path), line_in(error, str(path)), raised(error)
        if isinstance(error, SyntaxError) and error.filename:
            where, number, text = error.filename, error.lineno, f"SyntaxError: {error.msg}"
            if "'utf-8' codec" in error.msg:
                text = "it must be UTF-8 text"
        raise InputError.of(f"does not load: {text}", where, number) from error
    return module
