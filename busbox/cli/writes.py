"""What a run writes, and where: the exports that the options of ``busbox run`` name."""

from __future__ import annotations

import os
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from busbox.basics.errors import InputError, Mistake
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.hooks import PASSING, HookError, told
from busbox.cli.common import shown_progress
from busbox.exports.contract import STANDARD_OUTPUT, Result, Target, target_of
from busbox.plugins import EXPORTS, find

#: Suffixes of a page: under another, a double click does not open it in a browser.
PAGES = (".html", ".htm")


@dataclass(frozen=True)
class Write:
    """One export and its target.

    Attributes
    ----------
    option : what named it, for messages
    name : of the export
    file : where it goes, ``-`` for standard output
    export : what writes it
    """

    option: str
    name: str
    file: str
    export: Callable[[Result, Target], None]

    @property
    def shown(self) -> bool:
        """Whether it goes to standard output."""
        return self.file == STANDARD_OUTPUT

    def write(self, result: Result) -> None:
        """Write a result.

        Raises
        ------
        InputError : the file cannot be written, or an export from outside raised an error
        """
        with target_of(self.file) as target:
            try:
                with limited_hooks(aside=False):
                    self.export(result, target)
            except InputError as error:
                raise InputError(_device(one, self.option) for one in error.mistakes) from None
            except (*PASSING, OSError):
                raise
            except BaseException as error:
                if self.name in EXPORTS.built_in:
                    raise
                text = f"export {self.name} raised {told(error, self.export)}"
                raise HookError.of(text, self.option) from error


def write_each(writes: Sequence[Write], result: Result) -> None:
    """Write a result to every target; one that fails does not keep the others from it.

    Raises
    ------
    InputError : what failed, once all others are written
    """
    failed: list[InputError] = []
    for one in writes:
        try:
            one.write(result)
        except InputError as error:
            failed.append(error)
    if len(failed) == 1:
        raise failed[0]
    if failed:
        raise InputError(mistake for error in failed for mistake in error.mistakes)


def _device(mistake: Mistake, option: str) -> Mistake:
    return mistake if mistake.where else replace(mistake, where=option)


@dataclass(frozen=True)
class Waveform:
    """The waveform file that the options of a run name, and how deep it goes into hardware."""

    file: str
    depth: int = 0

    def write(self, result: Result, target: Target) -> None:
        """Write it, with progress, if it takes long to look inside devices."""
        from busbox.exports.waveform import write_deep

        with shown_progress(not self.depth) as report:
            write_deep(result, target, self.depth, report)


def writes_of(
    given: Iterable[str], vcd: Waveform | None, as_json: bool, brief: bool
) -> tuple[Write, ...]:
    """Return what is to be written: files first; the summary if nothing else is to be shown.

    Parameters
    ----------
    given : each ``NAME=FILE``; ``NAME`` may be ``file.py:function``
    vcd : the waveform file, short for ``vcd=FILE`` where it goes into no device
    as_json, brief : short for ``json=-`` and ``brief=-``

    Raises
    ------
    InputError : with every unknown export and every file that cannot be written
    """
    mistakes: list[Mistake] = []
    asked = [("--write", one) for one in given]
    asked += [("--vcd", f"vcd={vcd.file}")] if vcd is not None else []
    asked += [("--json", f"json={STANDARD_OUTPUT}")] if as_json else []
    asked += [("--brief", f"brief={STANDARD_OUTPUT}")] if brief else []
    found: list[Write] = []
    for option, text in asked:
        try:
            write = _write(option, text)
            if vcd is not None and option == "--vcd":
                write = replace(write, export=vcd.write)
            found.append(write)
        except InputError as error:
            mistakes += [Mistake(str(one), option) for one in error.mistakes]
    mistakes += [Mistake(text, option) for option, text in _twice(found)]
    if mistakes:
        raise InputError(mistakes)
    if not any(one.shown for one in found):
        found.append(_write("", f"summary={STANDARD_OUTPUT}"))
    return tuple(sorted(found, key=lambda one: one.shown))


def _write(option: str, text: str) -> Write:
    name, sign, file = text.partition("=")
    if not (name and sign and file):
        if option == "--vcd":
            raise InputError.of("must name a file such as run.vcd, not ''")
        raise InputError.of(f"must be NAME=FILE such as json=run.json, not {text!r}")
    export = find(EXPORTS, name)
    problem = "" if file == STANDARD_OUTPUT else no_place(file)
    if problem:
        raise InputError.of(problem)
    return Write(option, name, file, export)


def _twice(writes: Sequence[Write]) -> Iterable[tuple[str, str]]:
    """Yield (option, what is wrong) for each file that two exports would be written to."""
    seen: set[str] = set()
    for one in writes:
        if not one.shown and os.path.abspath(one.file) in seen:
            yield (
                one.option,
                f"must be a different file from {one.file!r}, which another option already writes",
            )
        seen.add(os.path.abspath(one.file))


def no_place(file: str) -> str:
    """Return why a file cannot be written, before the run and not after it."""
    if not file:
        return "must name a file, not ''"
    if os.path.isdir(file):
        return f"must be a file, not the folder {file!r}"
    folder = Path(file).parent
    if not os.path.isdir(folder):
        return f"there is no folder {str(folder)!r}"
    if not os.access(folder, os.W_OK):
        return f"must be in a folder that can be written to, not {str(folder)!r}"
    try:
        os.lstat(file)
    except FileNotFoundError:
        return ""
    except OSError as error:  # such as a name that is too long
        return f"cannot be written: {error.strerror}"
    return ""


def no_page(file: str) -> str:
    """Return why a file cannot be written, or no browser would show it; a device may have any name."""
    problem = no_place(file)
    path = Path(file)
    if problem or path.suffix.lower() in PAGES or (path.exists() and not path.is_file()):
        return problem
    return f"must end in .html, as it is a page for a browser, not {file!r}"


def no_folder(out: str) -> str:
    """Return why a folder cannot be made or written to, or "" if it can."""
    above = Path(out).absolute()
    while not os.path.lexists(above):
        above = above.parent
    if not above.is_dir():
        what = out if above == Path(out).absolute() else str(above)
        return f"must be a folder, not the file {what!r}"
    if not os.access(above, os.W_OK):
        return f"must be a folder that can be written to, not {out!r}"
    return ""


def listed(objects: Iterable[str]) -> str:
    """Return several JSON objects as one list."""
    inner = ",\n".join(textwrap.indent(one.rstrip("\n"), "  ") for one in objects)
    return f"[\n{inner}\n]\n"
