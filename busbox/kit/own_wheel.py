"""The wheel of Busbox itself, made of what is installed: no index has it, nor does pip keep it.

It is the same for an installed Busbox and for a checkout that is installed as editable. Source of the
form: PyPA specification "Binary distribution format".
"""

from __future__ import annotations

import base64
import hashlib
import zipfile
from collections.abc import Iterator
from importlib.metadata import Distribution, distributions
from importlib.util import find_spec
from pathlib import Path

import busbox
from busbox.basics.errors import InputError

#: Packages whose files may lie elsewhere: in a checkout, beside the package.
_PACKAGES = ("busbox", "busbox.models", "busbox.firmware_traces")
#: The same time in every wheel: two of the same files are identical.
_TIME = (1980, 1, 1, 0, 0, 0)


def write_wheel(folder: Path) -> Path:
    """Write the wheel of the running Busbox into a folder; return its file.

    Raises
    ------
    InputError : Busbox runs without being installed, or its metadata are those of another version
    """
    found = _installed()
    name = f"busbox-{busbox.__version__}"
    files = dict(_files())
    info = f"{name}.dist-info"
    for kind in ("METADATA", "entry_points.txt", "licenses/LICENSE"):
        text = found.read_text(kind)
        if text is not None:
            files[f"{info}/{kind}"] = text.encode()
    files[f"{info}/WHEEL"] = (
        b"Wheel-Version: 1.0\nGenerator: busbox\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
    )
    rows = [f"{path},sha256={_digest(data)},{len(data)}\n" for path, data in files.items()]
    files[f"{info}/RECORD"] = "".join([*rows, f"{info}/RECORD,,\n"]).encode()
    wheel = folder / f"{name}-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, data in files.items():
            entry = zipfile.ZipInfo(path, _TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data)
    return wheel


def requirements() -> list[str]:
    """Return what Busbox requires, each as its metadata say it.

    Raises
    ------
    InputError : as for :func:`write_wheel`
    """
    return list(_installed().requires or ())


def _installed() -> Distribution:
    # A checkout may have the metadata of a build beside it, in another form: they do not count.
    installed = (one for one in distributions(name="busbox") if one.read_text("METADATA"))
    found = next(installed, None)
    if found is None:
        raise InputError.of("needs an installed Busbox: pip install busbox", "--kit")
    if found.version != busbox.__version__:
        text = (
            f"needs the metadata of {busbox.__version__}, not of {found.version}: install it again"
        )
        raise InputError.of(text, "--kit")
    return found


def _files() -> Iterator[tuple[str, bytes]]:
    """Yield the name in the wheel and the contents of each file of the packages, in order."""
    for package in _PACKAGES:
        spec = find_spec(package)
        assert spec is not None
        assert spec.submodule_search_locations
        home = Path(next(iter(spec.submodule_search_locations)))
        inner = {one.rpartition(".")[2] for one in _PACKAGES if one.startswith(f"{package}.")}
        for file in sorted(home.rglob("*")):
            parts = file.relative_to(home).parts
            # In a checkout the inner packages are links, or files in the place of links.
            if parts[0] in inner or "__pycache__" in parts or not file.is_file():
                continue
            if file.suffix not in (".pyc", ".pyo"):
                yield f"{package.replace('.', '/')}/{'/'.join(parts)}", file.read_bytes()


def _digest(data: bytes) -> str:
    return base64.urlsafe_b64encode(hashlib.sha256(data).digest()).rstrip(b"=").decode()
