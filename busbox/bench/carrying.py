"""Puts the bench of a run into its recording.

A recording carries the tables of its bench as they were run (changed values included) and the files
that they name: traffic, models in Python and Verilog, firmware with the source files of the recorded
instructions, captures, memory images; in all at most :data:`busbox.recording.MOST_BYTES`. What a model
opens by itself is not known and not carried. :mod:`busbox.bench.opening` opens such a bench.
"""

from __future__ import annotations

import importlib
import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from busbox.basics.distinct import distinct
from busbox.basics.errors import InputError
from busbox.cpu.host_names import names_driver
from busbox.plugins import DEVICES, SOURCES, find
from busbox.recording import MOST_BYTES, CarriedBench, Recording, is_plain, windows
from busbox.system.system import System


class _NotCarried(Exception):
    """Why a bench cannot be carried."""


def carry(
    keys: Mapping[str, Any], folder: Path, system: System, traffic: object, recording: Recording
) -> CarriedBench:
    """Return what a recording carries of its bench; where that cannot be, ``lacks`` says why.

    Parameters
    ----------
    keys, folder : of the bench
    system : what was built from it
    traffic : what was played instead of the bench's traffic, or None
    recording : of the run
    """
    try:
        return _Packing(keys, folder, system, traffic, recording).packed()
    except _NotCarried as error:
        return CarriedBench(lacks=str(error))
    except OSError as error:
        name = os.path.basename(error.filename or "")
        return CarriedBench(lacks=f"its file {name} cannot be read: {error.strerror}")


class _Group:
    """Files that are named from one folder on: they keep their places to one another."""

    def __init__(self, folder: str) -> None:
        self.folder = folder
        self._anchor = Path(os.path.realpath(folder))
        self._files: list[Path] = []

    def add(self, name: str) -> Path:
        """Add a file, named from the folder on, and return it."""
        file = Path(os.path.normpath(self._anchor / name))
        self._files.append(file)
        return file

    def add_path(self, path: str | Path) -> None:
        """Add a file that was found through the folder, under whatever name that has."""
        self.add(os.path.relpath(path, self.folder))

    def places(self, number: int) -> tuple[str, dict[Path, str]]:
        """Return where the folder is unpacked, and each file."""
        root = Path(os.path.commonpath([self._anchor, *(file.parent for file in self._files)]))

        def place(path: Path) -> str:
            return (Path(str(number)) / path.relative_to(root)).as_posix()

        return place(self._anchor), {file: place(file) for file in self._files}


class _Packing:
    """Collects the files and objects that the tables of a bench name."""

    def __init__(
        self,
        keys: Mapping[str, Any],
        folder: Path,
        system: System,
        traffic: object,
        recording: Recording,
    ) -> None:
        self._tables = plain({**keys, "traffic": None})
        self._groups = [_Group(str(folder))]
        #: Keys with an absolute path: (key path, group, file, what stands behind the file's name).
        self._absolute: list[tuple[str, _Group, Path, str]] = []
        self._labels: dict[str, str] = {}
        self._objects: dict[str, str] = {}
        self._replay_lacks = ""
        #: Where the library of a driver in C is.
        self._driver: _Group | None = None
        for device in system.devices:
            self._add_slot(device.name, device.model)
        for one in system.attached:
            self._add_kind(f"attach.{one.name}", "kind")
            self._add_settings(f"attach.{one.name}", one.part)
        for number, rule in enumerate(self._tables.get("rules", ())):
            self._add_rule(f"rules.{number}", rule)
        for number, table in enumerate(self._tables.get("input", ())):
            if table.get("capture") is not None:
                self._add_file(f"input.{number}.capture", table["capture"])
        if traffic is None:
            self._add_traffic(keys.get("traffic"), "")
        else:
            self._add_traffic(traffic, os.getcwd())
        if system.firmware:
            self._add_firmware(system.firmware, recording)

    def packed(self) -> CarriedBench:
        """Return the bench with all its files."""
        places: dict[tuple[_Group, Path], str] = {}
        folder = ""
        for number, group in enumerate(self._groups):
            anchor, found = group.places(number)
            folder = folder or anchor
            places |= {(group, file): name for file, name in found.items()}
        for path, group, file, rest in self._absolute:
            name = os.path.relpath(places[group, file], folder).replace(os.sep, "/")
            put(self._tables, path, f"{name}{rest}")
        try:
            tables = json.loads(json.dumps(self._tables))
        except (TypeError, ValueError) as error:
            raise _NotCarried(f"it holds what no file can hold ({error})") from None
        files = _contents({name: file for (_, file), name in places.items()})
        return CarriedBench(
            tables, folder, files, self._labels, self._objects, "", self._replay_lacks
        )

    def _add_slot(self, name: str, model: Any) -> None:
        path = f"slot.{name}"
        group = self._add_kind(path, "model")
        if group is not None and self._tables["slot"][name].get("as") == "hardware":
            twin = sys.modules[model.__module__].__file__
            if hasattr(model, "source"):
                _add_sources(model.source, group)
            elif twin is not None and _import_name(model) is None:  # in a file, as the model is
                group.add_path(twin)
        if group is not None and getattr(model, "table", None) is not None and model.table.file:
            group.add_path(model.table.file)
        if group is None and hasattr(model, "source"):
            self._add_module(path, model.source)
        self._add_settings(path, model)

    def _add_module(self, path: str, source: Any) -> None:
        """Add the files of a module in Verilog, and the declaration of its registers."""
        table = _at(self._tables, path)
        more = table.get("verilog") or {}
        include = more.get("include", ())
        if include and any(map(os.path.isabs, (table["model"], *include))):
            raise _NotCarried(
                f"{path} names a folder of included files, and it or the module's file by an absolute "
                "path"
            )
        group = self._add_file(f"{path}.model", table["model"], label=True)
        for number, file in enumerate(more.get("files", ())):
            self._add_file(f"{path}.verilog.files.{number}", file)
        _add_sources(source, group)
        if table.get("registers"):
            self._add_file(f"{path}.registers", table["registers"])

    def _add_kind(self, path: str, key: str) -> _Group | None:
        """Add the class that a slot or an attachment names; return the group of its file."""
        table = _at(self._tables, path)
        given = table[key]
        if isinstance(given, type):
            name = _import_name(given)
            if name is None:
                raise _NotCarried(
                    f"{path}.{key} is the Python class {given.__qualname__}, which cannot be imported "
                    "by its name"
                )
            self._objects[f"{path}.{key}"] = name
            table[key] = ""
        elif ".py:" in given:
            return self._add_file(f"{path}.{key}", given, label=True)
        return None

    def _add_rule(self, path: str, given: Any) -> None:
        """Add the function that a bench names under ``rules``."""
        if not isinstance(given, str):
            name = _import_name(given)
            if name is None:
                raise _NotCarried(
                    f"{path} is the Python function {given.__qualname__}, which cannot be imported "
                    "by its name"
                )
            self._objects[path] = name
            put(self._tables, path, "")
        elif ".py:" in given:
            self._add_file(path, given)

    def _add_settings(self, path: str, kind: Any) -> None:
        table = _at(self._tables, path)
        for setting in kind.settings:
            if setting.kind == "path" and table.get(setting.name) is not None:
                self._add_file(f"{path}.{setting.name}", table[setting.name])

    def _add_file(self, path: str, text: str, *, label: bool = False) -> _Group:
        """Add the file that a key names, with or without ``:NAME`` behind it; return its group."""
        file, rest = text, ""
        if ".py:" in text or ".rdl:" in text or names_driver(text) or _names_module(text):
            file, _, name = text.rpartition(":")
            rest = f":{name}"
        if not os.path.isabs(file):
            self._groups[0].add(file)
            return self._groups[0]
        folder = os.path.dirname(file)
        group = next((one for one in self._groups[1:] if one.folder == folder), None)
        if group is None:
            group = _Group(folder)
            self._groups.append(group)
        self._absolute.append((path, group, group.add(os.path.basename(file)), rest))
        if label:
            self._labels[path] = text
        return group

    def _add_traffic(self, given: Any, folder: str) -> None:
        """Add traffic; a name is looked up in ``folder``, "" for the bench's own."""
        path = "traffic"
        self._tables["traffic"] = given
        if isinstance(given, Mapping):
            self._tables["traffic"] = dict(given)
            if "source" in given:
                self._add_source(given)
                return
            if ".py:" in given.get("format", ""):
                self._add_file("traffic.format", given["format"])
            given, path = given["file"], "traffic.file"
        if isinstance(given, str | Path):
            text = os.path.join(folder, given)
            put(self._tables, path, text)
            group = self._add_file(path, text)
            self._driver = group if names_driver(text) else None
            return
        self._tables["traffic"] = []
        name = _import_name(given)
        if name is not None:
            self._objects["traffic"] = name
        else:
            self._replay_lacks = (
                "its traffic came from Python, and only files and functions that can be imported by "
                "their names are carried"
            )

    def _add_source(self, given: Mapping[str, Any]) -> None:
        """Add the source that the traffic names, with the files of its settings."""
        kind = find(SOURCES, given["source"], Path(self._groups[0].folder))
        if ".py:" in given["source"]:
            self._add_file("traffic.source", given["source"])
        self._add_settings("traffic", kind)

    def _add_firmware(self, file: str, recording: Recording) -> None:
        """Add the firmware, and the source files of the instructions that the recording names."""
        group = self._groups[0]
        if self._tables.get("firmware"):
            group = self._add_file("firmware", self._tables["firmware"])
        group = self._driver or group
        pcs = {pc for _, part in windows(recording.accesses) for pc in distinct(part.pc).tolist()}
        if not pcs - {-1}:
            return
        from busbox.firmware.program import Firmware  # late: only accesses with a pc need it

        try:
            firmware = Firmware(file)
        except InputError:  # reported where a source line is asked for
            return
        sources = {firmware.source(pc) for pc in pcs if pc >= 0}
        texts = {firmware.text_file(source) for source in sources if source is not None}
        for text in sorted(text for text in texts if text is not None):
            group.add_path(text)


def _names_module(text: str) -> bool:
    """Return whether a text names a module in a file of Verilog."""
    return bool(DEVICES.loader(text)) and ":" in text.rpartition(".")[2]


def _add_sources(source: Any, group: _Group) -> None:
    """Add the files of a module in Verilog to those of a folder."""
    for name in (*source.texts, *source.data()):
        group.add_path(source.folder / name)


def plain(value: Any) -> Any:
    """Return a copy in which tables, lists and paths are those of JSON; the rest stays as it is."""
    if isinstance(value, Mapping):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return str(value) if isinstance(value, Path) else value


def _at(tables: Any, path: str) -> Any:
    for part in path.split("."):
        tables = tables[int(part)] if isinstance(tables, list) else tables[part]
    return tables


def put(tables: Any, path: str, value: Any) -> None:
    """Change the value of a key, given by its path such as ``slot.bell.model``."""
    above, _, key = path.rpartition(".")
    table = _at(tables, above) if above else tables
    table[int(key) if isinstance(table, list) else key] = value


def _import_name(given: Any) -> str | None:
    """Return ``module:name`` of a class or function that another program can import, else None."""
    module, name = getattr(given, "__module__", None), getattr(given, "__qualname__", "")
    if module in (None, "__main__") or not name or "<" in name:
        return None
    above, _, _ = module.rpartition(".")
    places = getattr(sys.modules.get(above), "__path__", None) if above else None
    if above and places is None:
        return None
    if not any(finder.find_spec(module, places) for finder in sys.meta_path):
        return None
    try:
        found = named(module, name)
    except (ImportError, AttributeError):
        return None
    return f"{module}:{name}" if found is given else None


def named(module: str, name: str) -> Any:
    """Return a class or function of a module, which is imported.

    Raises
    ------
    ImportError, AttributeError : there is none
    """
    found: Any = importlib.import_module(module)
    for part in name.split("."):
        found = getattr(found, part)
    return found


def _contents(files: Mapping[str, Path]) -> dict[str, bytes]:
    """Return the contents of files, by the names under which they are carried."""
    total = 0
    for name, file in files.items():
        if not is_plain(name):
            raise _NotCarried(f"it names a file that not every system can hold, {name!r}")
        total += file.stat().st_size
    if total > MOST_BYTES:
        raise _NotCarried(
            f"it names files of {total:,} bytes in all; a recording carries {MOST_BYTES:,} at most"
        )
    return {name: file.read_bytes() for name, file in files.items()}
