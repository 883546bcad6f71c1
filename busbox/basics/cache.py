"""A folder of the user in which things are kept that can be made again, such as machine code.

``BUSBOX_CACHE`` names it; ``off`` keeps nothing. By default it is where the platform keeps such
things: ``XDG_CACHE_HOME`` or ``~/.cache`` (XDG Base Directory Specification 0.8), ``~/Library/Caches``
on macOS, ``LOCALAPPDATA`` on Windows. What is found there is used only if the folder belongs to the
user and nobody else may write to it, and if the contents have the digest that was noted with them: a
file that is spoiled, foreign or of another form is as good as none. What cannot be written is left out.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

#: The variable that names the folder, and the word that keeps nothing.
VARIABLE, OFF = "BUSBOX_CACHE", "off"
#: Bytes that are kept; the files that were used least lately go first.
MOST_BYTES = 1 << 26
#: How a file begins: the form, then the digest of the rest.
_FORM = b"busbox 1\n"
_DIGEST = hashlib.sha256().digest_size


def cached(key: bytes, make: Callable[[], bytes]) -> bytes:
    """Return what is kept under a key; if there is nothing, make it and keep it.

    Parameters
    ----------
    key : all that the contents follow from
    """
    contents = found(key)
    if contents is None:
        contents = make()
        keep(key, contents)
    return contents


def read_key(kind: str, contents: bytes, versions: tuple[str, ...], *readers: str | Path) -> bytes:
    """Return the key of what is read from a file.

    Parameters
    ----------
    kind : what is read, in one word
    contents : the file
    versions : those of the libraries that read it
    readers : the files of code that read it
    """
    digest = hashlib.sha256(repr((sys.version, versions)).encode())
    for reader in readers:
        digest.update(Path(reader).read_bytes())
    return kind.encode() + b"\n" + digest.digest() + contents


def found(key: bytes) -> bytes | None:
    """Return what is kept under a key, None if there is nothing."""
    folder = _folder()
    return None if folder is None else _read(folder / _name(key))


def keep(key: bytes, contents: bytes) -> None:
    """Keep contents under a key, if anything is to be kept and it can be written."""
    folder = _folder()
    if folder is not None:
        with suppress(OSError):
            _write(folder, folder / _name(key), contents)


def _name(key: bytes) -> str:
    return hashlib.sha256(_FORM + key).hexdigest()


def _folder() -> Path | None:
    """Return the folder, made if need be; None if nothing is to be kept, or it cannot be trusted."""
    given = os.environ.get(VARIABLE, "")
    if given == OFF:
        return None
    try:
        folder = Path(given) if given else _usual()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        return folder if _is_private(folder) else None
    except (OSError, RuntimeError):  # RuntimeError: the user has no home
        return None


def _usual() -> Path:
    if sys.platform == "win32":
        above = os.environ.get("LOCALAPPDATA")
        return (Path(above) if above else Path.home() / "AppData" / "Local") / "busbox" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "busbox"
    above = os.environ.get("XDG_CACHE_HOME", "")
    return (Path(above) if os.path.isabs(above) else Path.home() / ".cache") / "busbox"


def _is_private(folder: Path) -> bool:
    """Return whether the folder is the user's own, and nobody else may write to it."""
    if sys.platform == "win32":  # LOCALAPPDATA is the user's own
        return True
    found = folder.stat()
    return found.st_uid == os.getuid() and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _read(file: Path) -> bytes | None:
    """Return the contents of a file, or None if there is none that is whole."""
    try:
        if file.is_symlink():
            return None
        text = file.read_bytes()
        os.utime(file)
    except OSError:
        return None
    begin = len(_FORM) + _DIGEST
    digest, contents = text[len(_FORM) : begin], text[begin:]
    whole = text.startswith(_FORM) and hashlib.sha256(contents).digest() == digest
    return contents if whole else None


def _write(folder: Path, file: Path, contents: bytes) -> None:
    """Write a file beside its place and put it there at once; make room if there is too much.

    Raises
    ------
    OSError : it cannot be written
    """
    number, name = tempfile.mkstemp(dir=folder, prefix="new.")
    try:
        with os.fdopen(number, "wb") as out:
            out.write(_FORM + hashlib.sha256(contents).digest() + contents)
        os.replace(name, file)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise
    found = [(one.stat().st_mtime, one.stat().st_size, one) for one in folder.iterdir()]
    left = sum(size for _, size, _ in found)
    for _, size, one in sorted(found):
        if left <= MOST_BYTES:
            break
        with suppress(OSError):
            one.unlink()
        left -= size
