"""Where benches are found: files, folders, and what comes with Busbox."""

from __future__ import annotations

import os
from pathlib import Path

from busbox.basics.errors import InputError, join_or, nearest


def packaged_benches() -> dict[str, Path]:
    """Return the benches that come with Busbox: name to file."""
    import busbox.firmware_traces

    root = Path(busbox.firmware_traces.__path__[0])
    return {file.parent.name: file for file in sorted(root.glob("*/bench.toml"))}


def packaged_sets() -> dict[str, Path]:
    """Return the sets of benches that come with Busbox: name to folder."""
    import busbox.firmware_traces

    root = Path(busbox.firmware_traces.__path__[0])
    return {file.parent.parent.name: file.parent.parent for file in root.glob("*/*/bench.toml")}


def inside_sets() -> dict[str, Path]:
    """Return the benches of the sets that come with Busbox: ``SET/BENCH`` to file."""
    return {
        f"{name}/{file.parent.name}": file
        for name, folder in packaged_sets().items()
        for file in sorted(folder.glob("*/bench.toml"))
    }


def benches_of(path: str | Path) -> list[Path] | None:
    """Return the bench files of a set (a folder of benches, or one that comes with Busbox), or None."""
    folder = Path(path)
    if not os.path.exists(folder):
        folder = packaged_sets().get(str(path), folder)
    if not os.path.isdir(folder) or (folder / "bench.toml").is_file():
        return None
    return sorted(folder.glob("*/bench.toml")) or None


def comes_with_busbox(file: Path) -> bool:
    """Return whether a bench file is one of those that come with Busbox."""
    import busbox.firmware_traces

    roots = [os.path.realpath(folder) for folder in busbox.firmware_traces.__path__]
    return any(os.path.realpath(file).startswith(root + os.sep) for root in roots)


def find_bench(path: str | Path) -> Path:
    """Return the bench file that ``path`` names.

    Raises
    ------
    InputError : there is none
    """
    given = Path(path)
    if os.path.isdir(given):  # False, not an error, for a name that no file can have
        if (given / "bench.toml").is_file():
            return given / "bench.toml"
        raise InputError.of("this folder has no bench.toml", str(given))
    if os.path.isfile(given):
        return given
    packaged, inside = packaged_benches(), inside_sets()
    if str(path) in packaged | inside:
        return (packaged | inside)[str(path)]
    raise InputError.of(
        f"there is no bench {str(path)!r}{nearest(str(path), [*packaged, *inside])} "
        f"(known: {join_or(['a folder with bench.toml', 'a file', *packaged])})"
    )
