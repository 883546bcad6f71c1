"""The computers that a kit can be made for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class Platform:
    """A system and a processor.

    Attributes
    ----------
    tags : platform tags of the wheels that it takes, as pip is given them
    markers : what the markers of requirements see there
    script : the start script
    needs : the oldest system for which such wheels are made
    """

    tags: tuple[str, ...]
    markers: Mapping[str, str]
    script: str
    needs: str


def _markers(sys_platform: str, system: str, machine: str) -> Mapping[str, str]:
    return MappingProxyType(
        {
            "os_name": "nt" if system == "Windows" else "posix",
            "sys_platform": sys_platform,
            "platform_system": system,
            "platform_machine": machine,
            "platform_python_implementation": "CPython",
            "implementation_name": "cpython",
            "platform_release": "",
            "platform_version": "",
        }
    )


#: Every tag of a glibc up to 2.28: pip takes each as it stands.
_GLIBC = tuple(f"manylinux_2_{minor}_x86_64" for minor in range(28, 4, -1))

#: Name of a computer, as ``--for`` takes it, to what it is. Source of the tags: PyPA specification
#: "Platform compatibility tags".
PLATFORMS: Mapping[str, Platform] = {
    "windows-x64": Platform(
        ("win_amd64",), _markers("win32", "Windows", "AMD64"), "start.bat", "Windows 10"
    ),
    "linux-x64": Platform(
        (*_GLIBC, "manylinux2014_x86_64", "linux_x86_64"),
        _markers("linux", "Linux", "x86_64"),
        "start.sh",
        "a system with glibc 2.28 (of 2018)",
    ),
    "macos-arm64": Platform(
        ("macosx_14_0_arm64",), _markers("darwin", "Darwin", "arm64"), "start.sh", "macOS 14"
    ),
    "macos-x64": Platform(
        ("macosx_14_0_x86_64",), _markers("darwin", "Darwin", "x86_64"), "start.sh", "macOS 14"
    ),
}


def environment(platform: Platform, python: str) -> dict[str, str]:
    """Return what markers see on a computer with a version of Python such as 3.11."""
    versions = {"python_version": python, "python_full_version": f"{python}.0",
                "implementation_version": f"{python}.0"}  # fmt: skip
    return {**platform.markers, **versions}
