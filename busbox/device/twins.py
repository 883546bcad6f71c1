"""The hardware twin that a model names."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from busbox.basics.errors import InputError, format_error, join_or
from busbox.basics.loading import import_object, load_object
from busbox.plugins import DEVICES


def twin_of(model: Any, name: str) -> Any:
    """Return the hardware twin that a model's class names: ``module:Class``, ``file.py:Class`` or
    ``file.v:module``.

    A file is looked up beside the model's own. A module in Verilog has the registers of the model, and
    a parameter for each of its settings, with the same name.

    Raises
    ------
    InputError : it names no twin, or one that is not a hardware device
    """
    target = getattr(model, "twin", None)
    if not isinstance(target, str):
        raise InputError.of(
            f"model {name} has no hardware twin; its class must name one, such as "
            "twin = 'file.py:Class'"
        )
    beside = Path(getattr(sys.modules[model.__module__], "__file__", None) or "").parent
    loader = DEVICES.loader(target)
    if loader:
        return _twin_in_verilog(model, target, import_object(loader), beside)
    if target.partition(":")[0].endswith(".py"):
        twin = load_object(target, beside, "class")
    else:
        try:
            twin = import_object(target)
        except (ImportError, AttributeError) as error:
            raise InputError.of(f"twin {target!r} does not load: {format_error(error)}") from error
    if not getattr(twin, "in_amaranth", False):
        raise InputError.of(
            f"twin {target!r} must be a hardware device: a subclass of busbox.Hardware"
        )
    return twin


def _twin_in_verilog(model: Any, target: str, load: Callable[..., Any], beside: Path) -> Any:
    """Return a module as the twin of a model.

    Raises
    ------
    InputError : it cannot be read, is refused, or lacks a parameter
    """
    try:
        twin = load(target, beside, {"declaration": model})
    except InputError as error:
        raise InputError(
            replace(one, text=f"twin {target!r}: {one.text}", key="") for one in error.mistakes
        ) from None
    parameters = [one.name for one in twin.settings]
    for setting in model.settings:
        if setting.name not in parameters:
            have = f"its parameters: {join_or(parameters)}" if parameters else "it has none"
            raise InputError.of(
                f"twin {target!r} has no parameter {setting.name!r} for the setting of that name of "
                f"its model ({have}); add it to the module"
            )
    return twin
