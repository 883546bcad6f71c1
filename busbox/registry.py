"""Where models come from: names, entry points, files beside the bench, classes."""

from __future__ import annotations

import importlib
import importlib.metadata
import importlib.util
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

from busbox.errors import InputError, nearest, one_of

#: The models that come with Busbox, imported on first use.
MODELS = {
    "gpio": "busbox.models.gpio:Gpio",
    "uart": "busbox.models.uart:Uart",
    "pulse_led": "busbox.models.pulse_led:PulseLed",
    "timer": "busbox.models.timer:Timer",
    "memory": "busbox.models.memory:Memory",
}

#: Group of entry points under which a plug-in offers models.
ENTRY_POINTS = "busbox.models"

_CONTRACT = ("access", "input", "wake", "advance", "reset", "rest_at", "registers")


def model_class(name: str, folder: Path) -> Any:
    """Return the model class called ``name``: ``gpio``, a plug-in's name, or ``file.py:Class``.

    Raises
    ------
    InputError : there is no such model, or its file does not load
    """
    if ".py:" in name:
        return _checked(name, load_object(name, folder, "model"))
    target = MODELS.get(name)
    if target is not None:
        module, _, attribute = target.partition(":")
        return getattr(importlib.import_module(module), attribute)
    plugins = {point.name: point for point in importlib.metadata.entry_points(group=ENTRY_POINTS)}
    if name in plugins:
        try:
            return _checked(name, plugins[name].load())
        except (ImportError, AttributeError) as error:
            raise InputError.of(f"plug-in {name!r} does not load: {error}") from error
    known = [*MODELS, *plugins]
    raise InputError.of(
        f"there is no model {name!r}{nearest(name, known)} "
        f"(known: {one_of([*known, 'file.py:Class'])})"
    )


def _checked(name: str, found: Any) -> Any:
    missing = [method for method in _CONTRACT if not callable(getattr(found, method, None))]
    if not isinstance(found, type) or missing:
        lacks = f" (it lacks {', '.join(missing)})" if missing else ""
        raise InputError.of(f"{name!r} must be a class that keeps the contract of a model{lacks}")
    return found


def load_object(name: str, folder: Path, what: str) -> Any:
    """Return the object that ``file.py:name`` names; the file is looked up in ``folder``.

    Raises
    ------
    InputError : no such file or name, or the file raises while it loads
    """
    file, _, attribute = name.rpartition(":")
    path = folder / file
    if not path.is_file():
        raise InputError.of(f"there is no file {file!r} beside the bench")
    module = _load_file(path)
    found = getattr(module, attribute, None)
    if found is None:
        public = [key for key in vars(module) if not key.startswith("_")]
        raise InputError.of(
            f"there is no {what} {attribute!r} in {file}{nearest(attribute, public)}"
        )
    return found


def _load_file(path: Path) -> ModuleType:
    # A file's own name in sys.modules would let two benches see each other's files.
    name = "busbox_file_" + path.stem + f"_{abs(hash(str(path.resolve()))):x}"
    spec = importlib.util.spec_from_file_location(name, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    try:
        spec.loader.exec_module(module)
    except Exception as error:
        del sys.modules[name]
        line = error.__traceback__
        number = None
        while line is not None:
            if line.tb_frame.f_code.co_filename == str(path):
                number = line.tb_lineno
            line = line.tb_next
        if isinstance(error, SyntaxError):
            number = error.lineno
        raise InputError.of(
            f"does not load: {type(error).__name__}: {error}", str(path), number
        ) from error
    return module
