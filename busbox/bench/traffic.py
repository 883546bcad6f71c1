"""``[traffic]``: the steps that the CPU plays, from a file, a function or a list."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Any, TypeGuard

from busbox.basics.errors import (
    READ_MISTAKES,
    InputError,
    Mistake,
    format_value,
    join_or,
    limited,
    nearest,
    no_file,
)
from busbox.basics.hooks import HookError, calling, is_added, where_raised
from busbox.basics.keys import Key
from busbox.basics.loading import load_object
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.bench.host_driver import KEYS as HOST_KEYS
from busbox.bench.host_driver import opened_driver, pace_of
from busbox.bench.kept_traffic import KeptTraffic
from busbox.bench.settings import check_settings
from busbox.bench.signals import Imported
from busbox.bench.trust import KEYS as TRUST_KEYS
from busbox.core.program import Program, is_program, read_program
from busbox.cpu.bus import not_firmware
from busbox.cpu.driver import FunctionSource, source_of
from busbox.cpu.host_names import Pace, library_and_function
from busbox.cpu.listed import ListedSource
from busbox.cpu.source import Source
from busbox.cpu.source_kind import guarded_source
from busbox.cpu.steps import AccessStep, Await, Named, Poll, Step, Until
from busbox.cpu.table import AccessTable
from busbox.formats.contract import Format
from busbox.formats.files import format_of, is_traffic, read_pieces
from busbox.plugins import FORMATS, SOURCES, find
from busbox.system.hardware import Device
from busbox.system.system import System

_PATH: KeyPath = ("traffic",)
#: Keys of the table; with ``source``, the others are its settings.
KEYS: Mapping[str, Key] = {
    "file": Key("The traffic: a file of steps, or a function in a Python file or in a library of C.",
                "a string such as 'NAME.steps'", "'cabin.steps'"),
    "format": Key("The format of the file, where its suffix does not say it.",
                  "a string such as 'csv'", "'csv'", default="the suffix of the file"),
    "at": Key("Where a program in a plain binary file is loaded.", "an address", "0x8000_0000",
              default="none: other files of programs hold their addresses"),
    **HOST_KEYS,
    "signals": Key("Which signal of a waveform or a table of samples is what: [traffic.signals].",
                   "a table, [traffic.signals]",
                   "{ kind = 'valid-ready', clock = 'top.clk', valid = 'top.valid', "
                   "ready = 'top.ready', address = 'top.addr', write_strobes = 'top.wstrb', "
                   "write_data = 'top.wdata', read_data = 'top.rdata' }",
                   default="none: the file holds steps"),
    **TRUST_KEYS,
    "source": Key("A source of traffic by its name, instead of a file; other keys are its settings.",
                  "a string such as 'NAME'", "'NAME'", default="none"),
}  # fmt: skip


@dataclass(frozen=True)
class Traffic:
    """What is played.

    Attributes
    ----------
    new_source : makes a source that begins at the first step
    label : how messages call it
    program : what a core executes, in the place of steps
    driver : a driver in C with debug information, "" if it is none
    notes : what a reader of the run should know of it
    """

    new_source: Callable[[], Source] = ListedSource(tuple).again
    label: str = ""
    program: Program | None = None
    driver: str = ""
    notes: tuple[str, ...] = ()


def bench_traffic(
    given: object, in_file: bool, context: Context, devices: Sequence[Device]
) -> Traffic:
    """Return the traffic that a bench has; none if a mistake keeps it out.

    Parameters
    ----------
    given : its table ``[traffic]``; in a bench from Python a function or steps as well
    in_file : whether the bench is a file
    devices : those of the bench
    """
    note = context.mistakes.note
    if given is None:
        note(_PATH, "must be given: [traffic] file = 'NAME', or --traffic FILE")
    elif isinstance(given, Mapping) and "source" in given:
        return _named_source(given, context)
    elif isinstance(given, Mapping):
        name, chosen = _file_of(given, context)
        if name is not None and "signals" in given:
            play = partial(_played, name, (*_PATH, "file"), context)
            return _imported(play, (name, chosen), given["signals"], devices, context)
        if name is not None:
            at, pace = _address(given, context), pace_of(given, context)
            return _played(name, (*_PATH, "file"), context, chosen, at, pace)
    elif in_file and not isinstance(given, str):
        note(_PATH, f"must be a table, [traffic], not {format_value(given)}")
    else:
        return _played(given, _PATH, context)
    return Traffic()


def other_traffic(given: object, context: Context, devices: Sequence[Device]) -> Traffic:
    """Return traffic that is played instead of the bench's; its file is not looked up beside that."""
    if isinstance(given, Mapping) and "source" in given:
        return _named_source(given, context)
    if isinstance(given, Mapping):
        name, chosen = _file_of(given, context)
        if name is not None and "signals" in given:
            play = partial(_other, name, context)
            return _imported(play, (name, chosen), given["signals"], devices, context)
        at, pace = _address(given, context), pace_of(given, context)
        return Traffic() if name is None else _other(name, context, chosen, at, pace)
    return _other(given, context)


def _imported(
    play: Callable[[Format], Traffic],
    file: tuple[str, Format | None],
    given: object,
    devices: Sequence[Device],
    context: Context,
) -> Traffic:
    """Return the accesses in a file of signals; ``given``: the map."""
    name, chosen = file
    try:
        found = chosen or _format_by_suffix(name)
    except InputError as error:
        context.mistakes.note((*_PATH, "file"), str(error))
        return Traffic()
    imported = Imported(found, given, devices, context)
    if imported.format is None:
        return Traffic()
    traffic = play(imported.format)
    return replace(traffic, notes=imported.notes)


def _other(
    given: object,
    context: Context,
    chosen: Format | None = None,
    at: int | None = None,
    pace: Pace | None = None,
) -> Traffic:
    try:
        return _opened(given, Path(), context.kept, chosen, at, pace)
    except InputError as error:
        context.mistakes.add(
            one if one.where else Mistake(one.text, key="traffic") for one in error.mistakes
        )
        return Traffic()


def _played(
    given: object,
    path: KeyPath,
    context: Context,
    chosen: Format | None = None,
    at: int | None = None,
    pace: Pace | None = None,
) -> Traffic:
    try:
        return _opened(given, context.folder, context.kept, chosen, at, pace)
    except InputError as error:
        for mistake in error.mistakes:
            if mistake.where:
                context.mistakes.add([mistake])
            else:
                context.mistakes.note(path, mistake.text)
        return Traffic()


def _file_of(table: Mapping[str, object], context: Context) -> tuple[str | None, Format | None]:
    """Return the file that a table names, or None if it names none; and its format, if it says so."""
    note = context.mistakes.note
    unknown = [key for key in table if key not in KEYS]
    for key in unknown:
        close = nearest(str(key), list(KEYS))
        note((*_PATH, key), f"unknown key {key!r}{close} (known: {join_or(KEYS)})")
    if "file" not in table:
        if not unknown:
            note(_PATH, "must have a key file, such as file = 'NAME.steps'")
        return None, None
    seen = len(context.mistakes)
    chosen = _format(table["format"], context) if "format" in table else None
    if len(context.mistakes) > seen:
        return None, None
    name = table["file"]
    if isinstance(name, str):
        return name, chosen
    note((*_PATH, "file"), f"must be {KEYS['file'].kind}, not {format_value(name)}")
    return None, None


def _address(table: Mapping[str, object], context: Context) -> int | None:
    """Return where a plain binary is loaded, or None if the table does not say."""
    at = table.get("at")
    if at is None or (type(at) is int and 0 <= at < 1 << 32):
        return at
    found = hex(at) if type(at) is int else format_value(at)
    context.mistakes.note((*_PATH, "at"), f"must be an address from 0 to 0xffffffff, not {found}")
    return None


def _format(given: object, context: Context) -> Format | None:
    """Return the format that ``format`` names, for a file with another suffix."""
    note, path = context.mistakes.note, (*_PATH, "format")
    if not isinstance(given, str):
        note(path, f"must be {KEYS['format'].kind}, not {format_value(given)}")
        return None
    try:
        found: Format = find(FORMATS, given, context.folder)
    except InputError as error:
        for mistake in error.mistakes:
            note(path, str(mistake))
        return None
    if found.read is None and found.of_signals is None:
        note(path, f"must be a format that is read; {given} is only written")
    return found


def _named_source(table: Mapping[str, Any], context: Context) -> Traffic:
    """Return what the source that ``source`` names plays, with the other keys as its settings."""
    note, path = context.mistakes.note, (*_PATH, "source")
    before, name = len(context.mistakes), table["source"]
    kind = None
    if isinstance(name, str):
        try:
            kind = find(SOURCES, name, context.folder)
        except InputError as error:
            for mistake in error.mistakes:
                note(path, str(mistake))
    else:
        note(path, f"must be {KEYS['source'].kind}, not {format_value(name)}")
    if kind is None:
        return Traffic()
    others = {key: value for key, value in table.items() if key != "source"}
    settings = check_settings(_PATH, kind, others, ("source",), context)
    if len(context.mistakes) > before:
        return Traffic()
    try:
        with calling("it", hook=kind, refusing=True):
            return Traffic(guarded_source(kind(**settings), f"source {name}").again, name)
    except HookError as error:
        note(path, str(error))
    except ValueError as error:
        note(_PATH, f"{error}{where_raised(error, kind) if is_added(kind) else ''}")
    return Traffic()


def _opened(
    given: object,
    folder: Path,
    kept: KeptTraffic | None,
    chosen: Format | None,
    at: int | None = None,
    pace: Pace | None = None,
) -> Traffic:
    """Return what a file, a function or steps play.

    Raises
    ------
    InputError : there is no such file, or nothing in it can be played
    """
    if isinstance(given, str | Path):
        in_library = library_and_function(str(given))
        if in_library is not None:
            if chosen is not None or at is not None:
                raise InputError.of(f"format and at are not for a driver in C, such as {given!r}")
            driver, lines = opened_driver(*in_library, folder, pace)
            return Traffic(driver.again, in_library[0], driver=lines)
        if pace is not None:
            raise InputError.of(f"idle and patience are for a driver in C, and {given!r} is none")
        return _opened_file(str(given), folder, kept, chosen, at)
    return Traffic(source_of(given).again, getattr(given, "__name__", ""))


def _opened_file(
    name: str, folder: Path, kept: KeptTraffic | None, chosen: Format | None, at: int | None
) -> Traffic:
    if ".py:" in name:
        function = load_object(name, folder, "function")
        problem = not_firmware(function)
        if problem:
            raise InputError.of(f"{name}: {problem}")
        file = name.rpartition(":")[0]
        return Traffic(lambda: FunctionSource(function, file, str(folder / file)), file)
    path = folder / name
    if chosen is None and is_program(path):
        return Traffic(label=str(path), program=read_program(path, str(path), at))
    if at is not None:
        raise InputError.of(f"at is for a program in a plain binary, and {name!r} is none")
    found = chosen or _format_by_suffix(name)
    missing = no_file(path)
    if missing:
        raise InputError.of(missing.replace(repr(str(path)), repr(name), 1))
    parse = partial(ListedSource, partial(read_pieces, path, found))
    source = parse() if kept is None else kept.source(path, found, parse)
    return Traffic(source.again, str(path))


def _format_by_suffix(name: str) -> Format:
    """Return the format of a file that has none named beside it.

    Raises
    ------
    InputError : its suffix is that of no format
    """
    path = Path(name)
    try:
        return format_of(path)
    except InputError as error:
        if is_traffic(path) or path.suffix == ".py" or str(error).endswith("?"):
            raise
        text = f"{error}; a file with any other suffix needs file and format in [traffic]"
        raise InputError.of(text) from None


def check_targets(system: System, context: Context) -> None:
    """Look up every name in traffic that is known before the run."""
    source = system.new_source()
    if isinstance(source, ListedSource):
        mistakes = list(islice(_unknown_targets(source, system, context), READ_MISTAKES))
        context.mistakes.add(limited(mistakes, system.traffic))


def _unknown_targets(source: ListedSource, system: System, context: Context) -> Iterator[Mistake]:
    from busbox.run.ledger import address_of

    built = {device.name for device in system.devices}
    for handler in source.written:
        yield from _unknown_pin(handler.pin, handler.line, system, context)
    kept = {str(step.keep) for one in source.written for step in one.steps if _keeps(step)}
    for step in source.everything():
        if isinstance(step, Until) and isinstance(step.since, str) and step.since not in kept:
            text = (
                f"no step before keeps a word as {step.since!r}{nearest(step.since, sorted(kept))}"
            )
            yield Mistake(text, system.traffic, step.line)
        if _keeps(step):
            kept.add(str(step.keep))
        if isinstance(step, Await):
            yield from _unknown_pin(step.pin, step.line, system, context)
        if isinstance(step, AccessStep | Poll) and isinstance(step.target, Named):
            if step.target.slot in context.slots and step.target.slot not in built:
                continue
            try:
                address_of(step.target, system)
            except ValueError as error:
                yield Mistake(str(error), system.traffic, step.line)


def _keeps(step: Step | AccessTable) -> TypeGuard[AccessStep | Poll]:
    """Return whether a step keeps the word that it reads."""
    return isinstance(step, AccessStep | Poll) and step.keep is not None


def _unknown_pin(
    name: str, line: int | None, system: System, context: Context
) -> Iterator[Mistake]:
    """Yield what is wrong with the name of a pin in the traffic."""
    slot, _, pin = name.partition(".")
    built = {device.name: device for device in system.devices}
    if slot not in built:
        if slot not in context.slots:
            text = f"there is no slot {slot!r}{nearest(slot, context.slots)}"
            yield Mistake(text, system.traffic, line)
        return
    pins = [one.name for one in built[slot].pins]
    if pin not in pins:
        text = f"{slot} has no pin {pin!r}{nearest(pin, pins)}"
        yield Mistake(text, system.traffic, line)
