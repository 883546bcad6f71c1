"""The files of a Verilog module, and what the front end makes of them for given parameters."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from busbox.basics.declaring import known
from busbox.basics.errors import InputError, Mistake, no_file
from busbox.basics.files import read_file
from busbox.basics.limits import HEX_IMAGE, VERILOG
from busbox.verilog import front_end
from busbox.verilog.netlist import Netlist
from busbox.verilog.refusals import SILENT

#: An included file, and one with data; the name is empty where it is not written out.
_INCLUDE = re.compile(r'`include\b\s*(?:"([^"\n]+)")?')
_READS = re.compile(r"\$readmem[hb]\s*\(\s*(?:\"([^\"\n]+)\")?")
_MISSING = re.compile(r"Can't open include file `(.*)'!")
#: Words that are keywords of SystemVerilog alone (IEEE 1800-2017, annex B).
_LATER = re.compile(
    r"\b(logic|bit|always_ff|always_comb|always_latch|enum|typedef|struct|interface|modport|package|"
    r"import|unique|priority)\b"
)
_MODULE = re.compile(r"^\s*module\s+(?:automatic\s+)?\\?(\w+)", re.MULTILINE)
_STRING_OR_COMMENT = re.compile(r'("(?:[^"\\\n]|\\.)*")|//[^\n]*|/\*.*?\*/', re.DOTALL)
#: What a parameter's value looks like: a number in binary.
_NUMBER = re.compile(r"[01]{1,64}")


@dataclass(frozen=True)
class Source:
    """Where a module comes from.

    Attributes
    ----------
    folder : where names are looked up
    files : the file of the module first, then further ones
    include : folders of included files
    defines : macros, with their texts
    module : its name; "" if the first file has only one
    """

    folder: Path
    files: tuple[str, ...]
    include: tuple[str, ...] = ()
    defines: tuple[tuple[str, str], ...] = ()
    module: str = ""

    @cached_property
    def texts(self) -> dict[str, str]:
        """The texts of all files that are read, included ones too, by name from the folder on.

        Raises
        ------
        InputError : a file is missing, or is not text
        """
        found: dict[str, str] = {}
        for name in self.files:
            self._read(name, found)
        return found

    def _read(self, name: str, found: dict[str, str]) -> None:
        path = self.folder / name
        problem = no_file(path)
        if problem:
            raise InputError.of(problem.replace(repr(str(path)), repr(name), 1))
        contents = read_file(path, VERILOG)
        try:
            text = contents.decode("utf-8-sig")
        except UnicodeDecodeError:
            raise InputError.of("must be UTF-8 text", str(path)) from None
        found[name] = text.replace("\r\n", "\n").replace("\r", "\n")
        code = _code(found[name])
        for one in _INCLUDE.finditer(code):
            line = code.count("\n", 0, one.start()) + 1
            self._read_included(one[1] or "", name, line, found)

    def _read_included(self, included: str, by: str, line: int, found: dict[str, str]) -> None:
        """Read the file that line ``line`` of the file ``by`` includes, unless the name is empty."""
        for place in (os.path.dirname(by), *self.include, "") if included else ():
            inner = os.path.normpath(os.path.join(place, included))
            if inner in found:
                return
            if os.path.exists(self.folder / inner):
                problem = no_file(self.folder / inner)
                if problem:
                    raise InputError.of(f"`include {problem}", str(self.folder / by), line)
                self._read(inner, found)
                return

    @cached_property
    def code(self) -> dict[str, str]:
        """The texts without their comments."""
        return {name: _code(text) for name, text in self.texts.items()}

    def data(self) -> Iterator[str]:
        """Yield the names of files with data that the module reads, from the folder on.

        The front end looks for one in the folder that it runs in, and beside the file that names it.
        """
        for file, text in self.code.items():
            for name in filter(None, _READS.findall(text)):
                places = {name, os.path.join(os.path.dirname(file), name)}
                yield from sorted(one for one in places if os.path.isfile(self.folder / one))

    @cached_property
    def key(self) -> bytes | None:
        """The contents that the outcome follows from; None if that is not known."""
        digest = hashlib.sha256()
        parts = [(name, text.encode()) for name, text in self.texts.items()]
        parts += [(name, read_file(self.folder / name, HEX_IMAGE)) for name in self.data()]
        for name, contents in parts:
            digest.update(f"{name}\0{len(contents)}\0".encode() + contents)
        blind = any(
            not name
            for text in self.code.values()
            for pattern in (_READS, _INCLUDE)
            for name in pattern.findall(text)
        )
        return None if blind else digest.digest()

    @cached_property
    def top(self) -> str:
        """The name of the module.

        Raises
        ------
        InputError : there is none of that name, or it is not clear which one is meant
        """
        everywhere = [name for text in self.code.values() for name in _MODULE.findall(text)]
        if self.module:
            if self.module not in everywhere:
                raise InputError.of(
                    f"there is no module {self.module!r} in {self.files[0]}"
                    f"{known(self.module, everywhere) if everywhere else ''}"
                )
            return self.module
        first: list[str] = _MODULE.findall(self.code[self.files[0]])
        if len(first) != 1:
            example = f"'{self.files[0]}:{(first or ['dimmer'])[0]}'"
            raise InputError.of(f"must name the module too, such as {example}")
        return first[0]

    def _script(self, parameters: Mapping[str, int]) -> str:
        """Return the commands that read the module, flat, with its parameters."""
        part = front_end.in_option
        options = "".join(f" -I{part(one, 'an included folder')}" for one in self.include)
        for name, text in self.defines:
            options += f" -D{part(name, 'a macro')}"
            options += f"={part(text, 'the text of a macro')}" if text else ""
        lines = []
        for name in self.files:
            dialect = " -sv" if name.endswith(".sv") else ""
            lines.append(f"read_verilog{dialect}{options} {front_end.file_name(name)}")
        chosen = "".join(
            f" -chparam {name} {_literal(value)}" for name, value in sorted(parameters.items())
        )
        return "\n".join([*lines, f"hierarchy -top {self.top}{chosen}", "proc", "flatten", ""])

    def _run(self, script: str) -> tuple[str, list[Mistake]]:
        """Return what a script prints, and the warnings of the front end.

        Raises
        ------
        InputError : every mistake that the front end finds, by file and line
        """
        try:
            return front_end.run(script, self.folder, self.key)
        except InputError as error:
            raise InputError([self._reworded(one) for one in error.mistakes]) from None

    def _reworded(self, mistake: Mistake) -> Mistake:
        """Return a mistake with what the front end does not say: a place, and what may help."""
        missing = _MISSING.match(mistake.text)
        if missing:
            text = (
                f"there is no file {missing[1]!r} to include, here or in the folders under include"
            )
            for file, code in self.texts.items():
                for number, line in enumerate(code.split("\n"), 1):
                    if missing[1] in _INCLUDE.findall(line):
                        return Mistake(text, str(self.folder / file), number)
            return Mistake(text)
        place = os.path.relpath(mistake.where, self.folder) if mistake.where else ""
        at = mistake.line or 0
        around = self.texts.get(place, "").split("\n")[at - 1 : at]
        if (
            place.endswith(".v")
            and mistake.text.startswith("syntax error")
            and any(map(_LATER.search, around))
        ):
            text = f"{mistake.text} (SystemVerilog is read from files that end in .sv)"
            return replace(mistake, text=text)
        return (
            mistake if mistake.where else replace(mistake, where=str(self.folder / self.files[0]))
        )

    def outline(self, parameters: Mapping[str, int]) -> tuple[Netlist, list[Mistake]]:
        """Return the module as it was written, and the front end's warnings."""
        script = self._script(parameters) + "check\nwrite_json\n"
        printed, warnings = self._run(script)
        (text,) = front_end.documents(printed)
        return Netlist(text), warnings

    def reduced(
        self, parameters: Mapping[str, int], reset: str, reset_low: bool
    ) -> tuple[Netlist, ...]:
        """Return the module as plain registers and operators.

        With a reset, two more: the same with a public name for every wire, and what is left of that
        while the reset is active. Nothing is concluded there from undefined bits, and registers keep no
        initial value. Without public names, wires that became constants would not be shown.
        """
        silent = " ".join(f"t:{kind}" for kind in SILENT)
        script = self._script(parameters) + f"delete {silent}\n"
        script += (
            "opt_expr\nopt_clean\nmemory_collect\nopt_expr\nopt_muxtree\nopt_expr\nopt_clean\n"
        )
        script += "async2sync\ndffunmap\nopt_expr\nopt_clean\nwrite_json\n"
        if reset:
            script += "rename -enumerate -pattern wire-%-busbox w:$*\nwrite_json\n"
            script += f"setattr -unset init w:*\nconnect -set {reset} 1'b{int(not reset_low)}\n"
            script += "opt -nodffe -nosdff\nwrite_json\n"
        printed, _ = self._run(script)
        return tuple(Netlist(text) for text in front_end.documents(printed))


def _code(text: str) -> str:
    """Return a text without its comments, line for line."""
    return _STRING_OR_COMMENT.sub(lambda found: found[1] or " " + "\n" * found[0].count("\n"), text)


def _literal(value: int) -> str:
    return (
        str(value) if -(1 << 31) <= value < 1 << 31 else f"{max(33, value.bit_length())}'d{value}"
    )


def parameters_of(netlist: Netlist) -> Iterator[tuple[str, int]]:
    """Yield the parameters that are numbers, with their defaults."""
    for name, value in netlist.parameters.items():
        if isinstance(value, str) and _NUMBER.fullmatch(value):
            number = int(value, 2)
            negative = len(value) == 32 and number >= 1 << 31
            yield name, number - (1 << 32) if negative else number
