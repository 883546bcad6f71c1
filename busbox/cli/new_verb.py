"""``busbox new``."""

from __future__ import annotations

import os
import shlex
import shutil
from importlib.resources import files
from pathlib import Path

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.cli import completing
from busbox.cli.common import paper

#: What there is to write, by the name of its folder of templates, and what it needs before it runs.
KINDS = {"bench": "", "host_driver": "make -C {folder} compiles the driver. "}

_kinds = completing.offers(lambda context, incomplete: KINDS)


@click.command("new")
@click.argument("kind", metavar="KIND", shell_complete=_kinds)
@click.argument("folder", metavar="DIR", shell_complete=completing.folders)
def command(kind: str, folder: str) -> int:
    """Write a bench to start from.

    KIND is bench, with traffic and a model of two registers, or host_driver, with a driver in C that is
    compiled for this machine (busbox guide host-driver). DIR is a folder that is empty or does not
    exist yet.
    """
    if kind not in KINDS:
        raise InputError.of(
            f"there is no {kind!r} to write{nearest(kind, list(KINDS))} (known: {join_or(KINDS)})",
            "new",
        )
    place = Path(folder)
    _check(place, folder)
    names = _write(place, _templates(kind))
    page = paper()
    page.line(f"{folder}: {', '.join(names)}", hang=2)
    quoted = shlex.quote(folder)
    page.line(f"{KINDS[kind].format(folder=quoted)}busbox run {quoted} runs it.", hang=2)
    page.print()
    return 0


def _templates(kind: str) -> dict[str, bytes]:
    """Return the files: name to contents, the schema among them; the bench comes last."""
    from busbox.bench.json_schema import FILE, bench_schema, schema_text

    found = files("busbox").joinpath("cli", "templates", kind)
    contents = {file.name: file.read_bytes() for file in found.iterdir() if file.is_file()}
    contents[FILE] = schema_text(bench_schema()).encode("ascii")
    return dict(sorted(contents.items(), key=lambda item: (item[0] == "bench.toml", item[0])))


def _check(place: Path, folder: str) -> None:
    try:
        if place.is_dir():
            if any(place.iterdir()):
                raise InputError.of("must be empty; there is something in it", folder)
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
