"""Makes the folder of a kit."""

from __future__ import annotations

import os
import re
import shutil
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import busbox
from busbox.basics.errors import InputError, format_value, join_or, nearest
from busbox.kit.own_wheel import requirements, write_wheel
from busbox.kit.platforms import PLATFORMS, Platform
from busbox.kit.wheels import collect

#: Starts every kit: installs the others, also where Python comes without it.
PIP = "pip>=24"


@dataclass(frozen=True)
class Kit:
    """What is in a kit that was made.

    Attributes
    ----------
    folder : where it is
    script : the name of its start script
    wheels : names of its wheels
    size : of all files, in bytes
    """

    folder: Path
    script: str
    wheels: tuple[str, ...]
    size: int


def make_kit(
    folder: Path,
    platform: str,
    python: str | None,
    more: Callable[[], Mapping[str, bytes]] = dict,
) -> Kit:
    """Make a kit in a folder that is new or empty; nothing is left there if it cannot be made.

    Parameters
    ----------
    platform : a name of :data:`busbox.kit.platforms.PLATFORMS`
    python : version such as 3.11; None: that of the running Python
    more : gives further files, name to contents, once the wheels are there

    Raises
    ------
    InputError : there is no such platform, the folder cannot be used, or a wheel is missing
    """
    if platform not in PLATFORMS:
        close = nearest(platform, list(PLATFORMS))
        text = f"must be {join_or(PLATFORMS)}, not {format_value(platform)}{close}"
        raise InputError.of(text, "--for")
    version = python or f"{sys.version_info.major}.{sys.version_info.minor}"
    if not re.fullmatch(r"3\.\d{1,2}", version):
        text = f"must be a version of Python such as 3.11, not {format_value(version)}"
        raise InputError.of(text, "--python")
    _check(folder)
    beside = folder.absolute().parent / f".{folder.absolute().name}.{os.getpid()}.part"
    try:
        wheels = beside / "wheels"
        wheels.mkdir(parents=True)
        own = write_wheel(wheels)
        collect(wheels, [*requirements(), PIP], PLATFORMS[platform], version)
        names = sorted(wheel.name for wheel in wheels.iterdir())
        _write_texts(beside, PLATFORMS[platform], platform, version, names)
        for name, data in more().items():
            (beside / name).write_bytes(data)
        size = sum(file.stat().st_size for file in beside.rglob("*") if file.is_file())
        assert own.name in names
        if folder.is_dir():
            folder.rmdir()
        os.rename(beside, folder)
    except OSError as error:
        raise InputError.of(f"cannot be written: {error.strerror}", str(folder)) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)
    return Kit(folder, PLATFORMS[platform].script, tuple(names), size)


def _check(folder: Path) -> None:
    if folder.is_dir():
        if any(folder.iterdir()):
            raise InputError.of("must be an empty folder; it contains files", str(folder))
    elif os.path.lexists(folder):
        raise InputError.of("must be a folder, not a file", str(folder))
    elif not folder.absolute().parent.is_dir():
        text = f"there is no folder {str(folder.absolute().parent)!r} to put it in"
        raise InputError.of(text, str(folder))


def _write_texts(
    folder: Path, platform: Platform, name: str, python: str, wheels: list[str]
) -> None:
    """Write the start script and the README; of Windows, with the line ends that it needs."""
    pip = next(wheel for wheel in wheels if wheel.startswith("pip-"))
    parts = {
        "VERSION": busbox.__version__,
        "PYTHON": python,
        "MINOR": python.partition(".")[2],
        "PIP": pip,
        "PLATFORM": name,
        "NEEDS": platform.needs,
        "START": platform.script if platform.script.endswith(".bat") else f"sh {platform.script}",
    }
    ends = "\r\n" if platform.script.endswith(".bat") else "\n"
    for file in (platform.script, "README.txt"):
        text = files("busbox").joinpath("kit", "files", file).read_text(encoding="ascii")
        filled = re.sub(r"@([A-Z]+)@", lambda found: parts[found[1]], text)
        path = folder / file
        path.write_bytes(filled.replace("\n", ends).encode("ascii"))
        if file.endswith(".sh"):
            path.chmod(0o755)
