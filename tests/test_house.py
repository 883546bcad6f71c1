"""The house itself: what is installed, what is imported when."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

import busbox

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
        "heavy = {'amaranth', 'numpy', 'pydantic', 'rich', 'llvmlite', 'vcd', 'bincopy', 'elftools'}\n"
        "atexit.register(lambda: sys.stderr.write(repr(sorted(heavy & sys.modules.keys()))))\n"
        f"{code}\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stderr == "[]"


#: Modules and the imports that none of them may have (imports run downwards).
FORBIDDEN = {
    "registers.py": ("amaranth", "numpy", "busbox.models", "busbox.engines", "busbox.bus"),
    "address_map.py": ("amaranth", "numpy", "busbox.models", "busbox.engines", "busbox.bus"),
    "device.py": ("amaranth", "numpy", "busbox.models", "busbox.engines", "busbox.bus"),
    "board/": (
        "amaranth",
        "busbox.models",
        "busbox.bench",
        "busbox.engines",
        "busbox.run",
        "busbox.findings",
    ),
    "lines/": ("amaranth", "busbox.models", "busbox.bench", "busbox.board", "busbox.findings"),
    "engines/": ("busbox.models", "busbox.bench", "busbox.recording", "busbox.run.loop"),
    "fabric/": ("busbox.models", "busbox.bench", "busbox.engines", "busbox.run.loop"),
    "": ("busbox.models",),
}


@pytest.mark.parametrize("place", sorted(FORBIDDEN))
def test_imports_run_downwards(place: str) -> None:
    """No module imports what stands above it; nothing in the package imports a model."""
    plugins = {PACKAGE / "models", PACKAGE / "firmware_traces"}
    for file in sorted(PACKAGE.rglob("*.py")):
        name = file.relative_to(PACKAGE).as_posix()
        if plugins & set(file.parents) or not name.startswith(place):
            continue
        for module in _imports(file):
            wrong = [one for one in FORBIDDEN[place] if (module + ".").startswith(one + ".")]
            assert not wrong, f"{name} imports {module}"


def _imports(file: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


def test_every_model_is_loaded_by_its_registry_name() -> None:
    """Each name of the registry gives a class whose docstring has Registers and Timing."""
    from busbox.plugins import MODELS, model_class

    for name in MODELS:
        model = model_class(name, Path())
        for section in ("Registers\n", "Timing\n"):
            assert section in (model.__doc__ or ""), (name, section)


def test_models_load_no_hardware() -> None:
    """A model's twin is named, not imported: all models together load no Amaranth."""
    probe = (
        "import sys\n"
        "from pathlib import Path\n"
        "from busbox.plugins import MODELS, model_class\n"
        "for name in MODELS:\n"
        "    model_class(name, Path())\n"
        "print('amaranth' in sys.modules)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, encoding="utf-8", check=True
    )
    assert done.stdout == "False\n"
