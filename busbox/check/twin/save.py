"""A plan saved as a bench: a folder with bench.toml and its traffic."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from busbox.basics.files import inputs_kept, make_folder, replace_file
from busbox.basics.strangers import files_outside
from busbox.basics.toml_file import read_toml
from busbox.bench.opening import unpacked
from busbox.check.twin.plan import Plan
from busbox.formats.files import write_traffic
from busbox.recording import CarriedBench
from busbox.system.system import System

TRAFFIC = "traffic.steps"


def save(plan: Plan, system: System, folder: Path, home: Path) -> None:
    """Write a bench that runs ``plan`` on the one slot of ``system``.

    Parameters
    ----------
    folder : where it is written; a file of the same name is replaced
    home : folder of the bench that names the model, if that is a file

    Raises
    ------
    InputError : it cannot be written
    """
    make_folder(folder)
    text = "\n".join(_lines(plan, system, folder, home)) + "\n"
    with inputs_kept():  # the bench that was compared may be the one that was saved before
        write_traffic(folder / TRAFFIC, plan.played)
        replace_file(folder / "bench.toml", text.encode("utf-8"))


def save_carried(
    plan: Plan, system: System, folder: Path, home: Path, carried: CarriedBench
) -> Path | None:
    """Write the bench of a plan whose system was opened from a recording.

    Files that the slot names are written to ``folder/carried``: those that were opened are temporary.

    Returns
    -------
    ``folder``, or None if the recording names the model in a way that no bench file can

    Raises
    ------
    InputError : it cannot be written
    """
    (device,) = system.devices
    if f"slot.{device.name}.model" in carried.objects:
        return None
    paths = [one.name for one in device.model.settings if one.kind == "path"]
    paths = [name for name in paths if device.settings.get(name) is not None]
    if not paths and ".py:" not in device.kind:
        save(plan, system, folder, home)
        return folder
    kept = unpacked(carried, str(folder / "carried"))
    moved = {name: kept / os.path.relpath(device.settings[name], home) for name in paths}
    device = replace(device, settings={**device.settings, **moved})
    save(plan, replace(system, devices=(device,)), folder, kept)
    return folder


def names_files_outside(folder: Path) -> bool:
    """Return whether a saved bench names files that are not in its folder, such as a model's."""
    keys = read_toml(folder / "bench.toml")[0]
    return any(files_outside(keys, folder, folder))


def _lines(plan: Plan, system: System, folder: Path, home: Path) -> Iterator[str]:
    (device,) = system.devices
    slot, fabric = device.slot, system.fabric
    yield f'clock = "{system.clock_hz} Hz"'
    yield 'after_reset = "continue"'
    yield f"settle = {system.settle}"
    yield f"hang_after = {system.hang_after}"
    yield "\n[fabric]"
    yield f'unanswered = "{fabric.unanswered}"'
    yield f"registered_decode = {_shown(fabric.registered_decode)}"
    if fabric.watchdog is not None:
        yield f"watchdog = {fabric.watchdog}"
    yield f"\n[slot.{slot.name}]"
    yield f"model = {_shown(_beside(device.kind, folder, home))}"
    yield f"base = {slot.base:#010x}"
    yield f"size = {slot.size:#x}"
    yield f"wait = {slot.wait}"
    if slot.decode == "range":
        yield 'decode = "range"'
    elif slot.decode == "compare":
        yield f'compare = "{", ".join(str(bit) for bit in sorted(slot.compare, reverse=True))}"'
    kinds = {setting.name: setting.kind for setting in device.model.settings}
    for name, value in device.settings.items():
        if value is not None:
            path = kinds[name] == "path"
            yield f"{name} = {_shown(_relative(Path(value), folder) if path else value)}"
    yield "\n[traffic]"
    yield f'file = "{TRAFFIC}"'
    for cycle, pin, level in plan.inputs:
        yield f'\n[[input]]\nat = {cycle}\npin = "{slot.name}.{pin}"\nlevel = {level}'
    for cycle, length in plan.resets:
        yield f"\n[[reset]]\nat = {cycle}\nlength = {length}"


def _beside(kind: str, folder: Path, home: Path) -> str:
    """Return how a bench in ``folder`` names a model of a file that was beside another bench."""
    if ".py:" not in kind:
        return kind
    file, _, name = kind.rpartition(":")
    return f"{_relative(home / file, folder)}:{name}"


def _relative(file: Path, folder: Path) -> str:
    return Path(os.path.relpath(file.resolve(), folder.resolve())).as_posix()


def _shown(value: Any) -> str:
    return json.dumps(value)  # a JSON string is a TOML string; so are true, false and numbers
