"""The registry: everything that can be added to Busbox, and where it comes from.

A thing of any kind is added in one of three ways:

1. built in: it is named here, with the module that it is imported from on first use;
2. by an installed package: an entry point in the group of its kind;
3. as ``file.py:Name``, for the kinds where a file makes sense: the file is looked up beside the bench
   or, if the command line names it, in the current folder.

Everything that is not built in is checked against the contract of its kind, documented in the package
that uses it. Entry points are read only for a name that is not built in, and for lists. Two things of
one kind never share a name: a plug-in whose name is taken cannot be used, and lists say so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, format_error, join_or, nearest
from busbox.basics.loading import import_object, load_object
from busbox.basics.strangers import refuse_code

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

BUILT_IN = "built-in"


@dataclass(frozen=True)
class Kind:
    """One kind of thing that can be added.

    Attributes
    ----------
    word : the word for it in messages
    group : the group of entry points
    built_in : name to ``module:attribute``
    check : ``module:function``; called with a name and what was loaded under it, it raises InputError
        unless that keeps the contract of the kind
    in_file : what the second half of ``file.py:Name`` names, ``class`` or ``function``; "" where a
        file makes no sense
    example : such a name, as a message shows it
    loaders : suffix of a file that is no Python to ``module:function``, which makes a thing of it
    """

    word: str
    group: str
    built_in: Mapping[str, str]
    check: str
    in_file: str = ""
    example: str = "Bell"
    loaders: Mapping[str, str] = field(default_factory=dict)

    def loader(self, name: str) -> str:
        """Return what makes a thing of a file such as ``file.v:dimmer``; "" if nothing does."""
        return next(
            (
                target
                for suffix, target in self.loaders.items()
                if name.endswith(suffix) or f"{suffix}:" in name
            ),
            "",
        )


#: Models of devices and devices in Amaranth: ``model = "NAME"`` in ``[slot.NAME]``.
DEVICES = Kind(
    "model",
    "busbox.devices",
    {
        "gpio": "busbox.models.gpio:Gpio",
        "uart": "busbox.models.uart:Uart",
        "pulse_led": "busbox.models.pulse_led:PulseLed",
        "timer": "busbox.models.timer:Timer",
        "memory": "busbox.models.memory:Memory",
    },
    "busbox.device.checking:check_device",
    "class",
    loaders={".v": "busbox.verilog.device:load", ".sv": "busbox.verilog.device:load"},
)

#: What can be attached to pins: ``kind = "NAME"`` in ``[attach.NAME]``.
ATTACHMENTS = Kind(
    "kind of attachment",
    "busbox.attachments",
    {
        "lamp_string": "busbox.board.lamp_string:LampString",
        "terminal": "busbox.board.terminal:Terminal",
        "switch": "busbox.board.switch:Switch",
        "level": "busbox.board.duty:Level",
    },
    "busbox.board.attachment:check_attachment",
    "class",
)

#: Formats of traffic files; the name is the suffix, without its dot.
FORMATS = Kind(
    "traffic format",
    "busbox.formats",
    {
        "steps": "busbox.formats.text:STEPS",
        "csv": "busbox.formats.csv:CSV",
        "vcd": "busbox.formats.waveform.importing:VCD",
    },
    "busbox.formats.contract:check_format",
    "format",
)

#: Sources of traffic that are not files: ``source = "NAME"`` in ``[traffic]``.
SOURCES = Kind(
    "source of traffic", "busbox.sources", {}, "busbox.cpu.source_kind:check_source", "class"
)

#: What judges a run; the name is the id of its findings.
RULES = Kind(
    "rule",
    "busbox.rules",
    {
        "unmapped-access": "busbox.findings.unmapped_access:unmapped_access",
        "no-answer": "busbox.findings.no_answer:no_answer",
        "bus-hang": "busbox.findings.bus_hang:bus_hang",
        "wishbone-rule": "busbox.findings.wishbone_rule:wishbone_rule",
        "image-access": "busbox.findings.image_access:image_access",
        "register-hole": "busbox.findings.register_hole:register_hole",
        "read-only-write": "busbox.findings.read_only_write:read_only_write",
        "write-only-read": "busbox.findings.write_only_read:write_only_read",
        "lanes-lost": "busbox.findings.lanes_lost:lanes_lost",
        "data-off-lanes": "busbox.findings.data_off_lanes:data_off_lanes",
        "reserved-bits": "busbox.findings.reserved_bits:reserved_bits",
        "read-differs": "busbox.findings.read_differs:read_differs",
        "poll-timeout": "busbox.findings.poll_timeout:poll_timeout",
        "poll-storm": "busbox.findings.poll_storm:poll_storm",
        "uninitialised-read": "busbox.findings.uninitialised_read:uninitialised_read",
        "undefined-value": "busbox.findings.undefined_value:undefined_value",
        "rom-write": "busbox.findings.rom_write:rom_write",
        "frame-missed": "busbox.findings.frame_missed:frame_missed",
        "byte-lost": "busbox.findings.byte_lost:byte_lost",
        "framing": "busbox.findings.framing:framing",
        "baud-error": "busbox.findings.baud_error:baud_error",
        "core-trap": "busbox.findings.core_trap:core_trap",
        "stack-outside": "busbox.findings.stack_outside:stack_outside",
        "spin": "busbox.findings.spin:spin",
        "interrupt-stuck": "busbox.findings.interrupt_stuck:interrupt_stuck",
        "pulse-width": "busbox.findings.pulse_width:pulse_width",
        "latch-gap": "busbox.findings.latch_gap:latch_gap",
        "broken-bit-count": "busbox.findings.broken_bit_count:broken_bit_count",
        "colour-order": "busbox.findings.colour_order:colour_order",
        "shown-differs": "busbox.findings.shown_differs:shown_differs",
        "supply-current": "busbox.findings.supply_current:supply_current",
        "flash-rate": "busbox.findings.flash_rate:flash_rate",
    },
    "busbox.findings.rule_set:check_rule",
    "function",
    "bell_silent",
)

#: What writes the result of a run: ``busbox run --write NAME=FILE``.
EXPORTS = Kind(
    "export",
    "busbox.exports",
    {
        "summary": "busbox.exports.summary:write",
        "brief": "busbox.exports.brief:write",
        "json": "busbox.exports.json_report:write",
        "vcd": "busbox.exports.waveform:write",
        "coverage": "busbox.exports.coverage:write",
    },
    "busbox.exports.contract:check_export",
    "function",
)

#: The bus protocols between the CPU and the devices.
BUSES = Kind(
    "bus", "busbox.buses", {"wishbone": "busbox.bus.design:Design"}, "busbox.bus.design:check_bus"
)

#: What runs a system: ``--engine NAME``.
ENGINES = Kind(
    "engine",
    "busbox.engines",
    {
        "llvm": "busbox.engines.llvm_kernel:LlvmEngine",
        "python": "busbox.engines.python_kernel:PythonEngine",
        "reference": "busbox.engines.reference:ReferenceEngine",
    },
    "busbox.engines:check_engine",
)

#: The verbs of the command line.
VERBS = Kind(
    "verb",
    "busbox.verbs",
    {
        name: f"busbox.cli.{name}_verb:command"
        for name in (
            "run", "record", "state", "why", "twin", "list", "map", "where", "models", "attachments",
            "check", "timing", "fit", "explain", "guide", "capture", "baud", "new", "registers",
            "convert", "schema", "completion", "sweep", "compare", "find", "export", "draw",
            "report", "lesson",
        )
    },
    "busbox.cli.verbs:check_verb",
    "command",
)  # fmt: skip

#: Every kind, by the name of its list.
KINDS = {
    "devices": DEVICES,
    "attachments": ATTACHMENTS,
    "formats": FORMATS,
    "sources": SOURCES,
    "rules": RULES,
    "exports": EXPORTS,
    "buses": BUSES,
    "engines": ENGINES,
    "verbs": VERBS,
}


@dataclass(frozen=True)
class Entry:
    """One thing that has a name in the registry.

    Attributes
    ----------
    kind, name : what it is, and its name
    origin : ``built-in``, or the packages that offer it, such as ``signal-bell 0.1``
    points : its entry points, empty if it is built in; more than one is an error
    """

    kind: Kind
    name: str
    origin: str = BUILT_IN
    points: tuple[EntryPoint, ...] = ()

    def load(self) -> Any:
        """Return the thing.

        Raises
        ------
        InputError : it does not load, violates the contract, or its name is taken
        """
        if not self.points:
            return self._built_in()
        if self.name in self.kind.built_in:
            raise InputError.of(
                f"plug-in {self.name!r} of {self.origin} has the name of a built-in "
                f"{self.kind.word}: its package must choose another"
            )
        refuse_code(f"{self.name} of {self.origin}")
        if len(self.points) > 1:
            raise InputError.of(
                f"{self.kind.word} {self.name!r} is offered by more than one package, "
                f"{self.origin}: uninstall all but one of them"
            )
        try:
            found = self.points[0].load()
        except (Exception, SystemExit) as error:
            raise InputError.of(
                f"plug-in {self.name!r} does not load: {format_error(error)}"
            ) from error
        return checked(self.kind, self.name, found)

    def _built_in(self) -> Any:
        try:
            return import_object(self.kind.built_in[self.name])
        except ModuleNotFoundError as error:
            if (error.name or "busbox").partition(".")[0] == "busbox":
                raise
            raise InputError.of(
                f"{self.kind.word} {self.name} needs {error.name}, which is not installed"
            ) from error


def find(
    kind: Kind,
    name: str,
    folder: Path = Path(),
    besides: Iterable[str] = (),
    options: Mapping[str, Any] | None = None,
) -> Any:
    """Return the object of a name: built in, of a plug-in, or ``file.py:Name``.

    Parameters
    ----------
    folder : where a file is looked up
    besides : further names that the caller knows, for the message
    options : what else the bench says of a file that is no Python

    Raises
    ------
    InputError : there is no such thing, it does not load, or lacks a part of the contract
    """
    loader = kind.loader(name)
    if loader:
        return checked(kind, name, import_object(loader)(name, folder, options or {}))
    if kind.in_file and ".py:" in name:
        return checked(kind, name, load_object(name, folder, kind.in_file))
    if name in kind.built_in:
        return Entry(kind, name).load()
    offered = {entry.name: entry for entry in plug_ins(kind)}
    if name in offered:
        return offered[name].load()
    raise _unknown(kind, name, dict.fromkeys([*besides, *kind.built_in, *offered]))


def _unknown(kind: Kind, name: str, known: Iterable[str]) -> InputError:
    """Return the error for an unknown name."""
    if kind.in_file and name.endswith(".py"):
        text = f"must name the {kind.in_file} too, such as '{name}:{kind.example}', not {name!r}"
        return InputError.of(text)
    close = nearest(name, list(known))
    forms = [f"file.py:{kind.in_file.capitalize()}"] if kind.in_file else []
    return InputError.of(
        f"there is no {kind.word} {name!r}{close} (known: {join_or([*known, *forms])})"
    )


def entries(kind: Kind) -> Iterator[Entry]:
    """Yield every thing of a kind that has a name: the built-in ones, then those of plug-ins."""
    yield from (Entry(kind, name) for name in kind.built_in)
    yield from plug_ins(kind)


def names(kind: Kind) -> tuple[str, ...]:
    """Return every name of a kind, the built-in ones first, each once."""
    return tuple(dict.fromkeys(entry.name for entry in entries(kind)))


def described(
    listed: Iterable[Entry], describe: Callable[[Any], str]
) -> Iterator[tuple[str, str, str]]:
    """Yield (name, origin, text) of things, for a list; if one cannot be used, the text says why.

    Parameters
    ----------
    describe : returns the text of a thing
    """
    for entry in listed:
        try:
            text = describe(entry.load())
        except InputError as error:
            text = f"cannot be used: {error}"
        yield entry.name, entry.origin, text


def checked(kind: Kind, name: str, found: Any) -> Any:
    """Return what was loaded under a name, if it fulfils the contract of its kind.

    Raises
    ------
    InputError : it lacks a part of the contract
    """
    import_object(kind.check)(name, found)
    return found


def plug_ins(kind: Kind) -> Iterator[Entry]:
    """Yield what installed packages offer, in order of name."""
    import importlib.metadata

    points: dict[str, list[EntryPoint]] = {}
    for point in importlib.metadata.entry_points(group=kind.group):
        points.setdefault(point.name, []).append(point)
    for name, offered in sorted(points.items()):
        yield Entry(kind, name, " and ".join(map(_origin, offered)), tuple(offered))


def _origin(point: EntryPoint) -> str:
    """Return the package that an entry point comes from, with its version."""
    return f"{point.dist.name} {point.dist.version}" if point.dist else "plug-in"


#: What shows an object of a class in a notebook, as HTML.
SHOWN: Mapping[str, str] = {
    "AddressMap": "busbox.notebook.shown:address_map",
    "Bench": "busbox.notebook.shown:bench",
    "Finding": "busbox.notebook.shown:finding",
    "Recording": "busbox.notebook.shown:recording",
    "Sweep": "busbox.notebook.shown:sweep",
}


def as_html(shown: object) -> str:
    """Return an object as a notebook shows it; a subclass is shown as its base."""
    name = next(kind.__name__ for kind in type(shown).__mro__ if kind.__name__ in SHOWN)
    return str(import_object(SHOWN[name])(shown)) + (as_svg(shown) or "")


def as_svg(shown: object) -> str | None:
    """Return the picture of an object in a notebook; None where it has none."""
    name = next(kind.__name__ for kind in type(shown).__mro__ if kind.__name__ in SHOWN)
    drawn: str | None = import_object(SHOWN[name].replace(".shown:", ".drawn:"))(shown)
    return drawn
