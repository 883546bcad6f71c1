"""The house itself: what is installed, what is imported when."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

import busbox

pytestmark = pytest.mark.quick

PACKAGE = Path(busbox.__file__).parent


def test_the_tests_run_against_the_wheel_where_they_should() -> None:
    """If a home is expected, the imported package is the one that lives there."""
    expected = os.environ.get("BUSBOX_EXPECTED_HOME")
    if expected is None:
        pytest.skip("not run by tests/on_wheel.py")
    assert Path(expected) / "busbox" == PACKAGE


@pytest.mark.parametrize(
    "code", ["import busbox", "import busbox.cli; busbox.cli.main(['--help'])"]
)
def test_starting_loads_no_heavy_library(code: str) -> None:
    """`import busbox` and `busbox --help` load none of the large libraries."""
    probe = (
        "import sys, atexit\n"
        "heavy = {'amaranth', 'numpy', 'pydantic', 'rich', 'llvmlite', 'vcd', 'bincopy', 'elftools',\n"
        "         'systemrdl'}\n"
        "atexit.register(lambda: sys.stderr.write(repr(sorted(heavy & sys.modules.keys()))))\n"
        f"{code}\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stderr == "[]"


def test_the_face_names_what_a_user_needs() -> None:
    """``dir(busbox)`` is ``__all__``, rooms and the version; each name has a docstring and its home.

    A constant, in capitals, is that of its home, and the docstring of the package says what it is.
    """
    rooms = [name for name in dir(busbox) if name not in busbox.__all__ and name[0] != "_"]
    assert dir(busbox) == sorted([*busbox.__all__, *rooms, "__version__"])
    assert rooms == [
        "board", "bus", "device", "exports", "findings", "formats", "lines", "plugins", "recording",
    ]  # fmt: skip
    for name in rooms:
        assert getattr(busbox, name).__name__ == f"busbox.{name}"
        assert (getattr(busbox, name).__doc__ or "").strip(), name
    for name in busbox.__all__:
        found = getattr(busbox, name)
        if name.isupper():
            assert found is getattr(busbox.device, name)
            assert f"``{name}``" in (busbox.__doc__ or "")
            continue
        assert (found.__doc__ or "").strip(), name
        assert found.__name__ == name


#: The rooms, lowest first: a room knows only those before it.
ROOMS = (
    "basics", "plugins", "map", "device", "registers", "firmware", "core", "cpu", "formats", "system",
    "bus", "verilog", "engines", "recording", "lines", "board", "run", "findings", "explain", "exports",
    "bench", "pictures", "variants", "report", "lessons", "kit", "notebook", "check", "guide", "cli",
    "testing",
)  # fmt: skip
#: Folders of the package that are no rooms: their code is looked up by name.
GUESTS = ("models", "firmware_traces")
#: What no room below may load, late or not: heavy libraries, and what a registry finds by name.
KEPT_OUT = {
    "basics": ("amaranth", "pydantic", "llvmlite", "busbox.models"),
    "map": ("amaranth", "numpy", "pydantic", "llvmlite", "busbox.models"),
    "device": ("amaranth", "numpy", "pydantic", "llvmlite", "busbox.models"),
    "registers": ("amaranth", "numpy", "pydantic", "llvmlite", "busbox.models"),
    "lines": ("amaranth", "busbox.models"),
    "board": ("amaranth", "busbox.models"),
}
#: Lines of a file, a class and a function, at the most.
LONGEST = {"file": 400, "class": 255, "function": 60}


def _modules() -> dict[str, Path]:
    """Return the modules of all rooms by name."""
    found = {}
    for file in sorted(PACKAGE.rglob("*.py")):
        inside = file.relative_to(PACKAGE)
        if inside.parts[0] not in GUESTS and "templates" not in inside.parts:
            name = ".".join(("busbox", *inside.with_suffix("").parts))
            found[name.removesuffix(".__init__")] = file
    return found


MODULES = _modules()


def _imports(file: Path) -> set[str]:
    """Return the modules that a file imports: at load, late, and for the type checker alone."""
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names = {f"{node.module}.{alias.name}" for alias in node.names}
            inside = names & MODULES.keys()
            found |= inside if len(inside) == len(names) else inside | {node.module}
    return found


def _room(module: str) -> str:
    return module.split(".")[1]


def test_the_package_holds_rooms_and_nothing_else() -> None:
    """busbox/ has its face, its way in, the registry, and a folder a room."""
    found = {path.name for path in PACKAGE.iterdir() if path.name != "__pycache__"}
    rooms = {*ROOMS, *GUESTS} - {"plugins"}
    assert found == rooms | {"__init__.py", "__main__.py", "plugins.py", "py.typed"}


@pytest.mark.parametrize("room", ROOMS)
def test_imports_run_downwards(room: str) -> None:
    """A room imports only rooms before it, and nothing in the package imports a model."""
    below = {*ROOMS[: ROOMS.index(room) + 1]}
    kept_out = KEPT_OUT.get(room, ("busbox.models",))
    for module, file in MODULES.items():
        if module == "busbox" or module == "busbox.__main__" or _room(module) != room:
            continue
        for used in _imports(file):
            if used.startswith("busbox.") and _room(used) not in GUESTS:
                assert _room(used) in below, f"{module} imports {used}"
            wrong = [one for one in kept_out if (used + ".").startswith(one + ".")]
            assert not wrong, f"{module} imports {used}"


def test_no_file_knows_itself_by_way_of_others() -> None:
    """No circle of files, late imports and those of the type checker counted."""
    open_ones = {
        module: {used for used in _imports(file) if used in MODULES and used != module}
        for module, file in MODULES.items()
    }
    while True:
        done = {module for module, used in open_ones.items() if not used & open_ones.keys()}
        if not done:
            break
        for module in done:
            del open_ones[module]
    assert not open_ones, f"in a circle, or above one: {sorted(open_ones)}"


def test_the_package_is_a_command() -> None:
    """``python -m busbox`` is the command line."""
    done = subprocess.run(
        [sys.executable, "-m", "busbox", "--version"],
        capture_output=True, text=True, encoding="utf-8", check=True,
    )  # fmt: skip
    assert done.stdout == f"busbox, version {busbox.__version__}\n"


def test_everything_reads_in_one_sitting() -> None:
    """No file, class or function of the package and its models is longer than a reader likes."""
    long = []
    for file in sorted({*MODULES.values(), *(PACKAGE / "models").rglob("*.py")}):
        text = file.read_text(encoding="utf-8")
        sizes = [("file", file.name, text.count("\n"))]
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
                what = "class" if isinstance(node, ast.ClassDef) else "function"
                sizes.append((what, node.name, (node.end_lineno or 0) - node.lineno + 1))
        long += [(file.name, *size) for size in sizes if size[2] > LONGEST[size[0]]]
    assert not long


def test_every_model_is_loaded_by_its_registry_name() -> None:
    """Each name of the registry gives a class whose docstring has Registers and Timing."""
    from busbox.plugins import DEVICES, find

    for name in DEVICES.built_in:
        model = find(DEVICES, name)
        for section in ("Registers\n", "Timing\n"):
            assert section in (model.__doc__ or ""), (name, section)


def test_models_load_no_hardware() -> None:
    """A model's twin is named, not imported: all models together load no Amaranth."""
    probe = (
        "import sys\n"
        "from busbox.plugins import DEVICES, find\n"
        "for name in DEVICES.built_in:\n"
        "    find(DEVICES, name)\n"
        "print('amaranth' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stdout == "False\n"


def test_make_quick_looks_into_every_room() -> None:
    """Each folder of tests has some that are marked ``quick``."""
    files = sorted(Path(__file__).parent.rglob("test_*.py"))
    marked = {file.parent for file in files if "pytest.mark.quick" in file.read_text("utf-8")}
    assert {file.parent for file in files} == marked
