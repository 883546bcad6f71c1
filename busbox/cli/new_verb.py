"""``busbox new``."""

from __future__ import annotations

import keyword
import os
import re
import shlex
import shutil
from importlib.resources import files
from pathlib import Path

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.cli import completing
from busbox.cli.common import paper

#: What there is to write, by the name of its folder of templates, and what is said of it.
KINDS = {
    "bench": "busbox run {folder} runs it.",
    "host_driver": "make -C {folder} compiles the driver. busbox run {folder} runs it.",
    "lessons": "jupytext --to ipynb {folder}/*.py makes a notebook of it; busbox guide notebook says "
    "how to open it.",
    "notebook": "jupytext --to ipynb {folder}/*.py makes a notebook of it; busbox guide notebook says "
    "how to open it.",
    "device": "busbox run {folder} runs it, python -m pytest {folder} tests it. Its README.md says "
    "what to change.",
}
#: The name of the device in its templates, which is replaced by its own.
_STARTER = re.compile(rb"starter|Starter")

#: What no device and no class of one may be called: names that its files import, or other files.
_TAKEN = frozenset((
    "bench", "busbox", "amaranth", "conftest", "Any", "Module", "Mux", "Signal", "CycleModel",
    "Declaration", "Field", "Hardware", "Pin", "Register", "RegisterTable", "Registers", "Setting",
))  # fmt: skip

_kinds = completing.offers(lambda context, incomplete: KINDS)


@click.command("new")
@click.argument("kind", metavar="KIND", shell_complete=_kinds)
@click.argument("folder", metavar="DIR", shell_complete=completing.folders)
@click.option("--verilog", is_flag=True, help="Write the hardware of a device in Verilog.")
def command(kind: str, folder: str, verilog: bool) -> int:
    """Write a bench, a device or a notebook to start from.

    KIND is bench, with traffic and a model of two registers; host_driver, with a driver in C that is
    compiled for this machine (busbox guide host-driver); notebook, a peripheral in an hour, or
    lessons, twelve tasks on address decoding (busbox guide notebook); or device, with declaration,
    model, hardware twin, bench and tests (busbox guide tutorial). DIR is a folder that is empty or
    does not exist yet; a device takes the name of its folder, which must be in lower case.
    """
    if kind not in KINDS:
        raise InputError.of(
            f"unknown kind {kind!r}{nearest(kind, list(KINDS))} (known: {join_or(KINDS)})",
            "new",
        )
    place = Path(folder)
    _check(place, folder)
    if kind == "device":
        names = _write(place, _device(_name(place, folder), verilog))
    elif verilog:
        raise InputError.of(f"is only allowed with device, not with {kind}", "--verilog")
    else:
        names = _write(place, _templates(kind))
    page = paper()
    page.line(f"{folder}: {', '.join(names)}", hang=2)
    page.line(KINDS[kind].format(folder=shlex.quote(folder)), hang=2)
    page.print()
    return 0


def _name(place: Path, folder: str) -> str:
    """Return the name of a device, that of its folder.

    Raises
    ------
    InputError : a device cannot have that name
    """
    from busbox.verilog.outer import KEYWORDS

    name = place.resolve().name
    if not re.fullmatch("[a-z][a-z0-9]*(_[a-z0-9]+)*", name):
        fault = (
            "may contain only lower-case letters, digits and single _, and must start with a letter"
        )
    elif keyword.iskeyword(name) or name in KEYWORDS:
        fault = "must not be a keyword of Python or Verilog"
    elif name in _TAKEN or _class_of(name) in _TAKEN:
        fault = "is used by its own files; choose another"
    else:
        return name
    raise InputError.of(
        f"the device takes the name of its folder, {name!r}; this name {fault}", folder
    )


def _class_of(name: str) -> str:
    """Return the name of a device's class: PlatformDimmer of platform_dimmer."""
    return "".join(part.capitalize() for part in name.split("_"))


def _device(name: str, verilog: bool) -> dict[str, bytes]:
    """Return the files of a device."""
    names = {b"starter": name.encode(), b"Starter": _class_of(name).encode()}

    def put(text: bytes) -> bytes:
        return _STARTER.sub(lambda found: names[found[0]], text)

    return {
        put(file.encode()).decode(): put(text)
        for file, text in _templates(
            "device", "device_verilog" if verilog else "device_amaranth"
        ).items()
    }


def _templates(*kinds: str) -> dict[str, bytes]:
    """Return the files: name to contents, the schema among them; the bench comes last."""
    from busbox.bench.json_schema import FILE, bench_schema, schema_text

    folder = files("busbox").joinpath("cli", "templates")
    found = [file for kind in kinds for file in folder.joinpath(kind).iterdir()]
    contents = {file.name: file.read_bytes() for file in found if file.is_file()}
    if "bench.toml" in contents:
        contents[FILE] = schema_text(bench_schema()).encode("ascii")
    return dict(sorted(contents.items(), key=lambda item: (item[0] == "bench.toml", item[0])))


def _check(place: Path, folder: str) -> None:
    try:
        if place.is_dir():
            if any(place.iterdir()):
                raise InputError.of("must be an empty folder; it contains files", folder)
        elif os.path.lexists(place):
            raise InputError.of("must be a folder, not a file", folder)
        elif not place.parent.is_dir():
            raise InputError.of(f"there is no folder {str(place.parent)!r} to put it in", folder)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise InputError.of(f"cannot be used: {reason}", folder) from None


def _write(place: Path, contents: dict[str, bytes]) -> list[str]:
    """Write the files beside their place, then move them there; return their names."""
    there = place.is_dir()
    beside = (place if there else place.parent) / f".{place.name}.{os.getpid()}.part"
    try:
        beside.mkdir()
        for name, data in contents.items():
            (beside / name).write_bytes(data)
        if there:  # it may be somebody's present folder: it must stay the same one
            for name in contents:
                os.replace(beside / name, place / name)
            beside.rmdir()
        else:
            os.rename(beside, place)
    except OSError as error:
        shutil.rmtree(beside, ignore_errors=True)
        for name in contents if there else ():
            (place / name).unlink(missing_ok=True)
        raise InputError.of(f"cannot be written: {error.strerror}", str(place)) from None
    return sorted(contents)
