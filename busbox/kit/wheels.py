"""Collects wheels for another computer with pip, from the index that pip is configured with.

pip evaluates the markers of requirements for the Python that runs it, also where it downloads for
another platform; so what the other computer needs besides is looked up here, with ``packaging``.
"""

from __future__ import annotations

import re
import subprocess
import sys
import zipfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from email.parser import BytesParser
from pathlib import Path
from typing import TYPE_CHECKING

from busbox.basics.errors import InputError, join_and
from busbox.kit.platforms import Platform, environment

if TYPE_CHECKING:
    from packaging.requirements import Requirement


def collect(wheels: Path, wanted: Sequence[str], platform: Platform, python: str) -> None:
    """Download wheels, and those that they require, into a folder.

    Parameters
    ----------
    wanted : requirements, those of the start among them
    python : version such as 3.11

    Raises
    ------
    InputError : pip cannot be run, or does not find them; the library packaging is not installed
    """
    names = environment(platform, python)
    asked = requirements_for(wanted, names, ())
    while True:
        _download(wheels, list(map(_plain, asked)), platform, python)
        missing = list(missing_wheels(wheels, asked, names))
        if not missing:
            return
        if set(map(_plain, missing)) & set(map(_plain, asked)):
            text = f"pip collects no wheel of {join_and(list(map(_plain, missing)))}"
            raise InputError.of(text, "--kit")
        asked += missing


def requirements_for(
    texts: Iterable[str], names: Mapping[str, str], extras: Collection[str]
) -> list[Requirement]:
    """Return the requirements that count on the other computer, for a package taken with extras.

    Raises
    ------
    InputError : one cannot be read, or packaging is not installed
    """
    try:
        from packaging.markers import UndefinedComparison, UndefinedEnvironmentName
        from packaging.requirements import InvalidRequirement, Requirement
    except ImportError:
        text = "a kit needs the library packaging: pip install 'busbox[kit]'"
        raise InputError.of(text, "--kit") from None
    try:
        return [
            one
            for one in map(Requirement, texts)
            if one.marker is None
            or any(one.marker.evaluate({**names, "extra": extra}) for extra in extras or [""])
        ]
    except (InvalidRequirement, UndefinedComparison, UndefinedEnvironmentName) as error:
        text = f"a requirement cannot be read: {str(error).splitlines()[0]}"
        raise InputError.of(text, "--kit") from None


def _plain(one: Requirement) -> str:
    """Return a requirement without its marker, as pip takes it."""
    return str(one).partition(";")[0].strip()


def _download(wheels: Path, wanted: Sequence[str], platform: Platform, python: str) -> None:
    command = [
        sys.executable, "-m", "pip", "--disable-pip-version-check", "download", "--quiet",
        "--only-binary=:all:", "--dest", str(wheels), "--implementation", "cp",
        "--python-version", python,
    ]  # fmt: skip
    for tag in platform.tags:
        command += ["--platform", tag]
    done = subprocess.run(
        [*command, *wanted],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="replace",
        check=False,
    )
    if done.returncode:
        said = [line for line in done.stderr.splitlines() if line.startswith("ERROR:")]
        last = said[-1].removeprefix("ERROR:").strip() if said else done.stderr.strip()[-200:]
        raise InputError.of(f"pip cannot collect the wheels: {last}", "--kit")


def missing_wheels(
    wheels: Path, asked: Sequence[Requirement], names: Mapping[str, str]
) -> Iterator[Requirement]:
    """Yield what wheels require on the other computer, and pip has not looked for on this one."""
    from packaging.utils import canonicalize_name

    there = {canonicalize_name(wheel.name.split("-")[0]): wheel for wheel in wheels.glob("*.whl")}
    waiting, seen = list(asked), set()
    while waiting:
        one = waiting.pop()
        name, extras = canonicalize_name(one.name), frozenset(one.extras)
        if name not in there:
            yield one
        elif (name, extras) not in seen:
            seen.add((name, extras))
            waiting += requirements_for(_requires(there[name]), names, extras)


def _requires(wheel: Path) -> list[str]:
    """Return what a wheel requires, as its metadata say it."""
    with zipfile.ZipFile(wheel) as archive:
        inside = [
            name for name in archive.namelist() if re.fullmatch(r"[^/]+\.dist-info/METADATA", name)
        ]
        text = archive.read(inside[0])
    return BytesParser().parsebytes(text).get_all("Requires-Dist") or []
