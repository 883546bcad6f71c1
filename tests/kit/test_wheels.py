"""Which wheels another computer needs besides those that pip finds for this one."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.kit.platforms import PLATFORMS, environment
from busbox.kit.wheels import missing_wheels, requirements_for

pytestmark = pytest.mark.quick


def wheel(folder: Path, name: str, *requires: str) -> None:
    """Write a wheel that holds nothing but what it requires."""
    lines = [
        "Metadata-Version: 2.1",
        f"Name: {name}",
        *(f"Requires-Dist: {one}" for one in requires),
    ]
    with zipfile.ZipFile(folder / f"{name}-1-py3-none-any.whl", "w") as archive:
        archive.writestr(f"{name}-1.dist-info/METADATA", "\n".join(lines) + "\n")


@pytest.mark.parametrize(
    ("platform", "python", "missing"),
    [
        ("windows-x64", "3.11", {"colorama", "more-bells"}),
        ("linux-x64", "3.11", {"more-bells"}),
        ("linux-x64", "3.13", set()),
    ],
)
def test_what_the_other_computer_needs_is_missed(
    platform: str, python: str, missing: set[str], tmp_path: Path
) -> None:
    """Markers count for that computer and its Python, extras for whoever asks for them."""
    wheel(tmp_path, "cabin", "Levers.x[bells]>=1", 'colorama; platform_system == "Windows"')
    wheel(
        tmp_path, "levers_x",
        'more_bells; extra == "bells" and python_version < "3.13"', 'whistles; extra == "steam"',
    )  # fmt: skip
    names = environment(PLATFORMS[platform], python)
    found = missing_wheels(tmp_path, requirements_for(["cabin"], names, ()), names)
    assert {one.name.replace("_", "-") for one in found} == missing


@pytest.mark.parametrize("text", ["-x", "x; colour == 'red'", "x; python_version"])
def test_what_cannot_be_read_is_refused(text: str) -> None:
    """A requirement is never taken as true or false in silence."""
    with pytest.raises(InputError, match="a requirement cannot be read"):
        requirements_for([text], environment(PLATFORMS["linux-x64"], "3.11"), ())
