"""Objects by name: ``module:attribute``, and ``file.py:name`` from a user's file."""

from __future__ import annotations

import importlib
import importlib.machinery
import importlib.util
import sys
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

from busbox.basics.errors import InputError, format_error, line_in, nearest, no_file
from busbox.basics.files import note_read
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.hooks import PASSING
from busbox.basics.strangers import refuse_code


def import_object(target: str) -> Any:
    """Return the object that ``module:attribute`` names.

    Raises
    ------
    ImportError, AttributeError : there is no such module or attribute
    """
    module, _, attribute = target.partition(":")
    return getattr(importlib.import_module(module), attribute)


def load_object(name: str, folder: Path, what: str) -> Any:
    """Return the object that ``file.py:name`` names; the file is looked up in ``folder``.

    Parameters
    ----------
    what : the word for the object in messages: ``class``, ``function``

    Raises
    ------
    InputError : no such file or name, the file raises while it loads, or the user wants no such code
    """
    refuse_code(name)
    file, _, attribute = name.rpartition(":")
    path = folder / file
    problem = no_file(path)
    if problem:
        raise InputError.of(problem.replace(repr(str(path)), repr(file), 1))
    module = _load_file(path)
    found = getattr(module, attribute, None)
    if found is None:
        public = [
            key
            for key, value in vars(module).items()
            if getattr(value, "__module__", None) == module.__name__
        ]
        raise InputError.of(
            f"there is no {what} {attribute!r} in {file}{nearest(attribute, public)}"
        )
    return found


class _FileLoader(importlib.machinery.SourceFileLoader):
    """Loads a file as it is now, without leaving a compiled file beside it."""

    def get_code(self, fullname: str) -> CodeType | None:
        return self.source_to_code(self.get_data(self.path), self.path)


def _load_file(path: Path) -> ModuleType:
    # A file's own name in sys.modules would let two benches see each other's files.
    name = "busbox_file_" + path.stem + f"_{abs(hash(str(path.resolve()))):x}"
    spec = importlib.util.spec_from_file_location(name, path, loader=_FileLoader(name, str(path)))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    note_read(path)
    try:
        with limited_hooks():
            spec.loader.exec_module(module)
    except PASSING:  # such as the error of a declaration that it reads, by file and line
        del sys.modules[name]
        raise
    except BaseException as error:
        del sys.modules[name]
        where, number, text = str(path), line_in(error, str(path)), format_error(error)
        if isinstance(error, SyntaxError) and error.filename:
            where, number, text = error.filename, error.lineno, f"SyntaxError: {error.msg}"
            if "'utf-8' codec" in error.msg:
                text = "it must be UTF-8 text"
        raise InputError.of(f"does not load: {text}", where, number) from error
    return module
