"""What tests find by a device's folder: ``tests/models/NAME`` belongs to ``busbox.models.NAME``."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent


def attributes(module: str, name: str) -> dict[str, Any]:
    """Return what a module of each folder defines under a name, by the folder, in order.

    Folders without that module, or whose module does not define it, are left out.
    """
    files = sorted(HERE.glob(f"*/{module}.py"))
    found = {}
    for file in files:
        loaded = importlib.import_module(f"tests.models.{file.parent.name}.{module}")
        if hasattr(loaded, name):
            found[file.parent.name] = getattr(loaded, name)
    return found
