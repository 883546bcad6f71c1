"""A bench: system, traffic and inputs, from one TOML file or from Python.

Everything that is wrong in a bench is told at once, each mistake with its line; a syntax error of
TOML comes alone.
"""

from __future__ import annotations

import copy
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, Mistake, nearest, one_of
from busbox.bench.toml_lines import key_lines, line_of
from busbox.builder import Builder, KeyPath
from busbox.system.hardware import Device
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.recording import Recording
    from busbox.run.loop import Progress


class Bench:
    """A bench, not yet checked: :meth:`system` and :meth:`run` tell what is wrong with it.

    Parameters
    ----------
    keys : the same keys as in the file; ``traffic`` may also be a function or a list of steps, and a
        slot's ``model`` a class
    folder : where files that the keys name are looked up
    name : how messages call it

    Examples
    --------
    >>> bench = Bench({
    ...     "clock": "16 MHz",
    ...     "slot": {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}},
    ...     "traffic": lambda bus: bus.write("levers.OUT", 1),
    ... })
    >>> bench.run().edges("levers.out.0")
    (array([0, 3]), array([0, 1], dtype=uint8))
    """

    def __init__(
        self,
        keys: Mapping[str, Any],
        *,
        folder: str | Path = ".",
        name: str = "bench",
        file: Path | None = None,
        text: str = "",
    ) -> None:
        self.keys = dict(keys)
        self.folder = Path(folder)
        self.name = name
        self.file = str(file) if file else ""
        self._lines = key_lines(text)
        self._changed: set[KeyPath] = set()

    @classmethod
    def load(cls, path: str | Path) -> Bench:
        """Return the bench of a file, of a folder with bench.toml, or one that comes with Busbox.

        Raises
        ------
        InputError : there is none, it cannot be read, or it is no TOML
        """
        file = find_bench(path)
        try:
            contents = file.read_bytes()
            text = contents.decode("utf-8-sig").replace("\r\n", "\n")
            keys = tomllib.loads(text)
        except OSError as error:
            raise InputError.of(f"cannot be read: {error.strerror}", str(file)) from None
        except UnicodeDecodeError as error:
            line = contents[: error.start].count(b"\n") + 1
            raise InputError.of(
                f"must be UTF-8 text, not byte {contents[error.start]:#04x}", str(file), line
            ) from None
        except tomllib.TOMLDecodeError as error:
            what, place = _syntax_error(str(error), text)
            raise InputError.of(f"is not good TOML: {what}", str(file), place) from None
        except RecursionError:
            raise InputError.of(
                "is not good TOML: lists in lists are too deep", str(file)
            ) from None
        except ValueError:  # a number with more digits than Python reads
            raise InputError.of("is not good TOML: a number is too long", str(file)) from None
        folder = file.parent
        name = folder.resolve().name if file.name == "bench.toml" else file.stem
        return cls(keys, folder=folder, name=name, file=file, text=text)

    def with_values(self, values: Iterable[str]) -> Bench:
        """Return the bench with values changed, each given as ``KEY=VALUE``.

        KEY is a path such as ``slot.lamps.base`` or ``input.0.at``; VALUE is TOML, else text.

        Raises
        ------
        InputError : no such place in the bench
        """
        changed = copy.copy(self)
        changed.keys = _deep(self.keys)
        changed._changed = set(self._changed)
        mistakes: list[Mistake] = []
        for value in values:
            try:
                changed._changed.add(_put(changed.keys, value))
            except InputError as error:
                mistakes.extend(error.mistakes)
        if mistakes:
            raise InputError(mistakes)
        return changed

    def system(self, traffic: object = None) -> System:
        """Return the system, checked.

        Parameters
        ----------
        traffic : a file, a function or steps to play instead of the bench's

        Raises
        ------
        InputError : with every mistake of the bench and of its traffic
        """
        return Builder(self).build(traffic)

    def devices(self) -> tuple[Device, ...]:
        """Return the devices in their slots, checked; traffic is not looked at.

        Raises
        ------
        InputError : with every mistake of the bench, its traffic left aside
        """
        return Builder(self).devices()

    def run(
        self,
        engine: str = "auto",
        until: int | str | None = None,
        *,
        traffic: object = None,
        progress: Progress | None = None,
    ) -> Recording:
        """Run the bench and return its recording, judged; it carries the bench.

        Parameters
        ----------
        engine : see :data:`busbox.engines.ENGINES`
        until : cycles, or a time such as ``"2 ms"``
        traffic : a file, a function or steps to play instead of the bench's
        progress : called now and then with the row and the share of the steps that is over

        Raises
        ------
        InputError : something is wrong with the bench, its traffic or these arguments
        """
        from busbox.carried import carry
        from busbox.engines import engine_class
        from busbox.findings.judging import judge
        from busbox.run.loop import replay

        system = self.system(traffic)
        factory = engine_class(engine)
        facts = replay(system, factory, _until(until, system.clock_hz), progress)
        carried = carry(self.keys, self.folder, system, traffic, facts)
        return judge(replace(facts, carried=carried), system)

    def place(self, path: KeyPath) -> tuple[str, int | None]:
        """Return the file and line of a key, or ``--set`` if its value was changed."""
        for length in range(len(path), 0, -1):
            if path[:length] in self._changed:
                return "--set", None
        return self.file, line_of(self._lines, path)


def load_bench(path: str | Path) -> Bench:
    """Return the bench of a file, of a folder with bench.toml, or one that comes with Busbox."""
    return Bench.load(path)


def packaged_benches() -> dict[str, Path]:
    """Return the benches that come with Busbox: name to file."""
    import busbox.firmware_traces

    root = Path(busbox.firmware_traces.__path__[0])
    return {file.parent.name: file for file in sorted(root.glob("*/bench.toml"))}


def packaged_sets() -> dict[str, Path]:
    """Return the sets of benches that come with Busbox: name to folder."""
    import busbox.firmware_traces

    root = Path(busbox.firmware_traces.__path__[0])
    return {file.parent.parent.name: file.parent.parent for file in root.glob("*/*/bench.toml")}


def _inside_sets() -> dict[str, Path]:
    """Return the benches of the sets that come with Busbox: ``SET/BENCH`` to file."""
    return {
        f"{name}/{file.parent.name}": file
        for name, folder in packaged_sets().items()
        for file in sorted(folder.glob("*/bench.toml"))
    }


def benches_of(path: str | Path) -> list[Path] | None:
    """Return the bench files of a set (a folder of benches, or one that comes with Busbox), or None."""
    folder = Path(path)
    if not os.path.exists(folder):
        folder = packaged_sets().get(str(path), folder)
    if not os.path.isdir(folder) or (folder / "bench.toml").is_file():
        return None
    return sorted(folder.glob("*/bench.toml")) or None


def find_bench(path: str | Path) -> Path:
    """Return the bench file that ``path`` names.

    Raises
    ------
    InputError : there is none
    """
    given = Path(path)
    if os.path.isdir(given):  # False, not an error, for a name that no file can have
        if (given / "bench.toml").is_file():
            return given / "bench.toml"
        raise InputError.of("this folder has no bench.toml", str(given))
    if os.path.isfile(given):
        return given
    packaged, inside = packaged_benches(), _inside_sets()
    if str(path) in packaged | inside:
        return (packaged | inside)[str(path)]
    raise InputError.of(
        f"there is no bench {str(path)!r}{nearest(str(path), [*packaged, *inside])} "
        f"(known: {one_of(['a folder with bench.toml', 'a file', *packaged])})"
    )


def _until(value: int | str | None, clock_hz: int) -> int | None:
    from busbox.basics.units import parse_span

    if value is None:
        return None
    try:
        cycles = parse_span(value).in_cycles(clock_hz)
    except ValueError as error:
        raise InputError.of(str(error).removeprefix("a time "), key="until") from None
    if cycles < 1:
        raise InputError.of("must be at least one cycle, not 0", key="until")
    return cycles


#: What the parser says, and what a reader is told.
_SYNTAX = (
    (r"Cannot overwrite a value", "this key or table is given twice"),
    (r"Cannot declare \((.*?),?\) twice", r"[\1] is given twice"),
    (r"Cannot (?:mutate immutable|redefine) namespace .*", "this table has been given already"),
    (r"Duplicate inline table key (.*)", r"the key \1 is given twice"),
    (r"Expected '=' after a key in a key/value pair", "a key must be followed by = and a value"),
    (r"Expected newline or end of document after a statement",
     "there is more in this line after the value or table; text must stand in quotes"),
    (r"Invalid statement", "a line must be a comment, KEY = VALUE or [TABLE]"),
    (r"Invalid value", "a value must be a number, true, false, a list or a text in quotes"),
    (r"Invalid initial character for a key part", "a key must be letters, digits, - and _"),
    (r"Expected '(\]\]?)' at the end of .*", r"a table's name must be followed by \1"),
    (r"Unclosed array", "a list must end with ]"),
    (r"Unclosed inline table", "a table in braces must end with }"),
    (r"Unterminated string|Expected \"?'+\"?|Illegal character '\\n'",
     "a text must end with the quotes it began with"),
    (r"Unescaped '\\' in a string", r"\ in a text must be doubled, or the text in single quotes"),
)  # fmt: skip


def _syntax_error(message: str, text: str) -> tuple[str, int]:
    """Return the parser's message in words of our own, and its line."""
    found = re.fullmatch(r"([\s\S]*) \(at (?:line (\d+), column \d+|end of document)\)", message)
    what, line = (found[1], found[2]) if found else (message, None)
    for pattern, told in _SYNTAX:
        match = re.fullmatch(pattern, what)
        if match:
            what = match.expand(told).replace("', '", ".").replace("['", "[").replace("']", "]")
            break
    return what, int(line) if line else text.rstrip("\n").count("\n") + 1


def _deep(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _deep(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_deep(item) for item in value]
    return value


def _put(keys: dict[str, Any], given: str) -> KeyPath:
    """Change one value in place; return its path, or that of the first table made for it."""
    key, sign, text = given.partition("=")
    parts = key.strip().split(".")
    if not sign or not all(parts):
        raise InputError.of(
            f"must be KEY=VALUE such as slot.lamps.base=0x1000, not {given!r}", "--set"
        )
    node: Any = keys
    path: KeyPath = ()
    made: KeyPath = ()
    for last, part in zip([False] * (len(parts) - 1) + [True], parts, strict=True):
        item: str | int = part
        if isinstance(node, list):
            if part not in map(str, range(len(node))):
                raise InputError.of(_no_item(path, part, len(node)), "--set", key=key.strip())
            item = int(part)
        elif not isinstance(node, dict):
            raise InputError.of(
                f"{'.'.join(map(str, path))} is a value, not a table that could hold {part!r}",
                "--set",
                key=key.strip(),
            )
        path = (*path, item)
        if isinstance(node, dict) and item not in node:
            made = made or path
        if last:
            node[item] = toml_value(text.strip())
        elif isinstance(node, dict):
            node = node.setdefault(item, {})
        else:
            node = node[item]
    return made or path


def _no_item(path: KeyPath, part: str, count: int) -> str:
    name = ".".join(map(str, path))
    if not count:
        return f"there is no item {part!r}: {name} is empty"
    known = "item 0 only" if count == 1 else f"items 0 to {count - 1}"
    return f"there is no item {part!r}: {name} has {known}"


def toml_value(text: str) -> Any:
    """Return what a value of the command line means: TOML, else the text itself."""
    try:
        values = tomllib.loads(f"value = {text}")
    except (ValueError, RecursionError):
        return text
    return values["value"] if len(values) == 1 else text
