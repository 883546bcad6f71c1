"""What a shell offers for a word of a command line that is being typed.

The parameters of the verbs name these functions (click's ``shell_complete``). A function that fails
offers nothing: a shell that completes a word is no place for messages. Whatever is large is imported
inside, because the shell waits.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from busbox import plugins

if TYPE_CHECKING:
    from busbox.bench.bench import Bench
    from busbox.system.hardware import Device

Offers = Callable[[click.Context, click.Parameter, str], list[CompletionItem[str]]]

#: Shells that there is a script for.
SHELLS = ("bash", "zsh", "fish", "powershell")
#: What the name of a recording's file ends in (``busbox.recording.SUFFIX``, which loads NumPy).
RECORDING = ".recording.npz"
#: Verbs that take a recording in place of a bench.
_OF_RECORDINGS = ("run", "why", "state", "twin", "report", "draw")
#: Verbs that take the table of a sweep in place of a bench, and what its file's name ends in.
_OF_TABLES, _TABLES = ("report", "draw"), (".csv", ".json", ".parquet")
#: Keys that every slot may have.
_SLOT_KEYS = ("model", "base", "size", "wait", "compare", "decode", "yields_to", "as")
#: Keys of the whole bench.
_KEYS = ("clock", "settle", "hang_after", "after_reset", "poll_storm", "stuck_after", "supply")


def offers(words: Callable[[click.Context, str], Iterable[str]]) -> Offers:
    """Return a function for click from one that gives words; errors give none."""

    def offered(
        context: click.Context, parameter: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        try:
            found = dict.fromkeys(words(context, incomplete))
        except Exception:
            return []
        return [CompletionItem(word) for word in found if word.startswith(incomplete)]

    return offered


def of_type(kind: str) -> Offers:
    """Return what has the shell offer its own ``file`` or ``dir``."""
    return lambda context, parameter, incomplete: [CompletionItem(incomplete, type=kind)]


def named(kind: plugins.Kind, end: str = "") -> Offers:
    """Return what offers the names of a kind of thing, plug-ins included."""
    return offers(lambda context, incomplete: (f"{name}{end}" for name in plugins.names(kind)))


# Benches.


def _benches(context: click.Context, incomplete: str) -> Iterator[str]:
    from busbox.bench.find import inside_sets, packaged_benches, packaged_sets

    yield from packaged_benches()
    if context.info_name == "run":
        yield from packaged_sets()
    if "/" in incomplete:
        yield from inside_sets()
    above = os.path.dirname(incomplete)
    ends = (".toml",) + ((RECORDING,) if context.info_name in _OF_RECORDINGS else ())
    ends += _TABLES if context.info_name in _OF_TABLES else ()
    if above and not os.path.isdir(above):
        return
    for entry in sorted(os.scandir(above or "."), key=lambda entry: entry.name):
        path = f"{above.rstrip('/')}/{entry.name}" if above else entry.name
        if entry.name.startswith("."):
            continue
        if entry.is_dir():
            yield path if (Path(path) / "bench.toml").is_file() else f"{path}/"
        elif entry.name.endswith(ends):
            yield path


def _name(context: click.Context) -> str:
    """Return the bench that stands earlier in the line.

    Where the line ends in an option without its value, click has put no argument in its place yet.
    """
    return context.params.get("bench") or context.args[0]


def _tables(context: click.Context) -> Mapping[str, Any]:
    """Return the keys of the bench, or of the recording, that stands earlier in the line."""
    name = _name(context)
    if name.endswith(RECORDING):
        from busbox.recording import Recording

        carried = Recording.load(name).carried
        return {} if carried is None else carried.tables
    return _bench(context).keys


def _bench(context: click.Context) -> Bench:
    from busbox.bench.bench import Bench

    return Bench.load(_name(context))


def _devices(context: click.Context) -> tuple[Device, ...]:
    name = _name(context)
    if name.endswith(RECORDING):
        from busbox.bench.opening import opened
        from busbox.recording import Recording

        with opened(Recording.load(name)) as system:
            return system.devices
    return _bench(context).with_values(context.params.get("values") or ()).devices()


def _variants(context: click.Context, incomplete: str) -> Iterable[str]:
    return list(_tables(context).get("variant", {}))


def _slots(context: click.Context, incomplete: str) -> Iterable[str]:
    return list(_tables(context).get("slot", {}))


def _registers(context: click.Context) -> Iterator[str]:
    for device in _devices(context):
        yield from (f"{device.name}.{name}" for name in device.slot.table.names)


def _explained(context: click.Context, incomplete: str) -> Iterator[str]:
    yield from ("event.", "finding.", "access.")
    for device in _devices(context):
        yield from (f"{device.name}.{pin.name}@" for pin in device.pins)


def _stops(context: click.Context, incomplete: str) -> Iterator[str]:
    yield from plugins.names(plugins.RULES)
    yield from _registers(context)


# Keys of a bench.


def _settings(context: click.Context, incomplete: str) -> Iterator[str]:
    """Yield ``KEY=`` for the keys that there are or may be; ``KEY=VALUE`` where values have names."""
    key, sign, _ = incomplete.partition("=")
    if sign:
        yield from (f"{key}={value}" for value in _values(key))
        return
    tables = _tables(context)
    yield from (f"{name}=" for name in _KEYS)
    yield from (f"{path}=" for path in _paths(tables))
    for name, table in tables.get("slot", {}).items():
        found = _settings_of(plugins.DEVICES, table.get("model"), context)
        yield from (f"slot.{name}.{key}=" for key in (*_SLOT_KEYS, *found))
    for name, table in tables.get("attach", {}).items():
        found = _settings_of(plugins.ATTACHMENTS, table.get("kind"), context)
        yield from (f"attach.{name}.{key}=" for key in found)


def _settings_of(kind: plugins.Kind, name: Any, context: click.Context) -> list[str]:
    """Return the settings of a model or an attachment; none of one that cannot be loaded here."""
    from busbox.basics.errors import InputError

    recording = _name(context).endswith(RECORDING)
    try:
        found = plugins.find(kind, name, Path() if recording else _bench(context).folder)
    except InputError:
        return []
    return [setting.name for setting in found.settings]


def _paths(value: Any, path: str = "") -> Iterator[str]:
    """Yield the path of every value in tables and lists."""
    items: Iterable[tuple[Any, Any]] = ()
    if isinstance(value, Mapping):
        items = value.items()
    elif isinstance(value, list) and value and isinstance(value[0], Mapping):
        items = enumerate(value)
    elif path:
        yield path
    for key, inner in items:
        yield from _paths(inner, f"{path}.{key}" if path else str(key))


def _values(key: str) -> Iterable[str]:
    """Return the values that a key may have, where they have names."""
    part = key.rpartition(".")[2]
    return {
        "as": ("model", "hardware"),
        "model": plugins.names(plugins.DEVICES) if key.startswith("slot.") else (),
        "kind": plugins.names(plugins.ATTACHMENTS) if key.startswith("attach.") else (),
        "decode": ("full", "range"),
        "unanswered": ("error", "silence"),
        "after_reset": ("restart", "continue"),
    }.get(part, ())


def _profiles(context: click.Context, incomplete: str) -> Iterable[str]:
    from busbox.lines.profiles import PROFILES

    return PROFILES


def _engines(context: click.Context, incomplete: str) -> Iterable[str]:
    return ("auto", *plugins.names(plugins.ENGINES))


def _addresses(context: click.Context, incomplete: str) -> Iterable[str]:
    """Yield the bases of slots, and headers."""
    for device in _devices(context):
        yield f"{device.slot.base:#010x}"
    above = os.path.dirname(incomplete)
    for entry in os.scandir(above or "."):
        if entry.name.endswith((".h", ".c", ".hh", ".hpp", ".inc")):
            yield f"{above.rstrip('/')}/{entry.name}" if above else entry.name


def _pictures(context: click.Context, incomplete: str) -> Iterable[str]:
    """Return the pictures, or what may stand after the name of one."""
    from busbox.cli.picture_names import PICTURES

    words = context.params.get("what") or ()
    if not words:
        return PICTURES
    if words[0] == "decode" and len(words) == 1:
        return _addresses(context, incomplete)
    if (words[0], len(words)) in (("lamps", 1), ("pulse", 2)):
        attached = _tables(context).get("attach", {}).items()
        return [name for name, table in attached if table.get("kind") == "lamp_string"]
    return ()


benches = offers(_benches)
pictures = offers(_pictures)
slots = offers(_slots)
explained = offers(_explained)
stops = offers(_stops)
settings = offers(_settings)
variants = offers(_variants)
profiles = offers(_profiles)
engines = offers(_engines)
addresses = offers(_addresses)
lists = offers(lambda context, incomplete: ("benches", *plugins.KINDS))
files, folders = of_type("file"), of_type("dir")
