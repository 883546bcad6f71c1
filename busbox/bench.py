"""A bench: system, traffic and inputs, from one TOML file or from Python.

Everything that is wrong in a bench is told at once, each mistake with its line; a syntax error of
TOML comes alone.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.address_map import Slot
from busbox.device import REQUIRED, Setting
from busbox.errors import InputError, Mistake, nearest, one_of
from busbox.system import FabricOptions, InputLevel, Placed, Reset, System
from busbox.toml_lines import key_lines, line_of
from busbox.traffic.files import read_traffic
from busbox.traffic.source import FunctionSource, ListSource, Source, source_of
from busbox.traffic.steps import Access, Named, Poll

if TYPE_CHECKING:
    from busbox.bench_schema import BenchKeys, SlotKeys
    from busbox.recording import Recording
    from busbox.replay import Progress

KeyPath = tuple[str | int, ...]

_SLOT_NAME = re.compile(r"[A-Za-z_]\w*")


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
        self._file = str(file) if file else ""
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
            text = file.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
            keys = tomllib.loads(text)
        except OSError as error:
            raise InputError.of(f"cannot be read: {error.strerror}", str(file)) from None
        except UnicodeDecodeError:
            raise InputError.of("must be UTF-8 text", str(file)) from None
        except tomllib.TOMLDecodeError as error:
            what, line = _syntax_error(str(error))
            raise InputError.of(f"is not good TOML: {what}", str(file), line) from None
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
        for value in values:
            changed._changed.add(_put(changed.keys, value))
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
        return _Builder(self).build(traffic)

    def devices(self) -> tuple[Placed, ...]:
        """Return the devices in their slots, checked; traffic is not looked at.

        Raises
        ------
        InputError : with every mistake of the bench
        """
        return _Builder(self).devices()

    def run(
        self,
        engine: str = "reference",
        until: int | str | None = None,
        *,
        traffic: object = None,
        progress: Progress | None = None,
    ) -> Recording:
        """Run the bench and return its recording.

        Parameters
        ----------
        engine : see :data:`busbox.engines.ENGINES`
        until : cycles, or a time such as ``"2 ms"``
        traffic : a file, a function or steps to play instead of the bench's
        progress : called now and then with the row and the number of accesses that have ended

        Raises
        ------
        InputError : something is wrong with the bench, its traffic or these arguments
        """
        from busbox.engines import engine_class
        from busbox.replay import replay

        system = self.system(traffic)
        factory = engine_class(engine)
        return replay(system, factory, _until(until, system.clock_hz), progress)

    def place(self, path: KeyPath) -> tuple[str, int | None]:
        """Return the file and line of a key, or ``--set`` if its value was changed."""
        for length in range(len(path), 0, -1):
            if path[:length] in self._changed:
                return "--set", None
        return self._file, line_of(self._lines, path)


def load_bench(path: str | Path) -> Bench:
    """Return the bench of a file, of a folder with bench.toml, or one that comes with Busbox."""
    return Bench.load(path)


def packaged_benches() -> dict[str, Path]:
    """Return the benches that come with Busbox: name to file."""
    import busbox.firmware_traces

    root = Path(busbox.firmware_traces.__path__[0])
    return {file.parent.name: file for file in sorted(root.glob("*/bench.toml"))}


def find_bench(path: str | Path) -> Path:
    """Return the bench file that ``path`` names.

    Raises
    ------
    InputError : there is none
    """
    given = Path(path)
    if given.is_dir():
        if (given / "bench.toml").is_file():
            return given / "bench.toml"
        raise InputError.of("this folder has no bench.toml", str(path))
    if given.is_file():
        return given
    packaged = packaged_benches()
    if str(path) in packaged:
        return packaged[str(path)]
    raise InputError.of(
        f"there is no bench {str(path)!r}{nearest(str(path), list(packaged))} "
        f"(a folder with bench.toml, a file, or {one_of(packaged)})"
    )


def _until(value: int | str | None, clock_hz: int) -> int | None:
    from busbox.units import parse_span

    if value is None:
        return None
    try:
        cycles = parse_span(value).in_cycles(clock_hz)
    except ValueError as error:
        raise InputError.of(str(error), key="until") from None
    if cycles < 1:
        raise InputError.of("must be at least one cycle, not 0", key="until")
    return cycles


def _syntax_error(message: str) -> tuple[str, int | None]:
    found = re.fullmatch(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", message)
    if found is None:
        return message, None
    return found[1], int(found[2]) if found[2] else None


def _deep(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _deep(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_deep(item) for item in value]
    return value


def _put(keys: dict[str, Any], given: str) -> KeyPath:
    """Change one value in place; return its path."""
    key, sign, text = given.partition("=")
    parts = key.strip().split(".")
    if not sign or not all(parts):
        raise InputError.of(
            f"must be KEY=VALUE such as slot.lamps.base=0x1000, not {given!r}", "--set"
        )
    node: Any = keys
    path: KeyPath = ()
    for last, part in zip([False] * (len(parts) - 1) + [True], parts, strict=True):
        item: str | int = part
        if isinstance(node, list):
            if not part.isdigit() or int(part) >= len(node):
                raise InputError.of(
                    f"{key.strip()}: {'.'.join(map(str, path))} has items 0 to {len(node) - 1}, "
                    f"not {part!r}",
                    "--set",
                )
            item = int(part)
        elif not isinstance(node, dict):
            raise InputError.of(
                f"{key.strip()}: {'.'.join(map(str, path))} is a value, not a table", "--set"
            )
        path = (*path, item)
        if last:
            node[item] = _toml_value(text.strip())
        elif isinstance(node, dict):
            node = node.setdefault(item, {})
        else:
            node = node[item]
    return path


def _toml_value(text: str) -> Any:
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text


class _Builder:
    """Builds the system of a bench, and collects every mistake on the way."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.mistakes: list[Mistake] = []

    def wrong(self, path: KeyPath, text: str) -> None:
        """Note a mistake at a key."""
        where, line = self.bench.place(path)
        self.mistakes.append(Mistake(text, where, line, ".".join(map(str, path))))

    def done(self) -> None:
        """Raise what was noted."""
        if self.mistakes:
            self.mistakes.sort(key=lambda mistake: (mistake.line is None, mistake.line or 0))
            raise InputError(self.mistakes)

    def devices(self) -> tuple[Placed, ...]:
        """Return the devices."""
        keys = self._keys()
        placed = self._devices(keys) if keys else ()
        self.done()
        return placed

    def build(self, traffic: object) -> System:
        """Return the system."""
        keys = self._keys()
        if keys is None:
            self._slots_anyway()
            self.done()
            raise AssertionError
        placed = self._devices(keys)
        self._spans(keys)
        inputs, resets = self._inputs(keys, placed), self._resets(keys)
        given = keys.traffic if traffic is None else traffic
        new_source, label = self._traffic(given, traffic is None)
        self.done()
        clock = keys.clock
        system = System(
            clock_hz=clock,
            fabric=FabricOptions(**keys.fabric.model_dump()),
            devices=placed,
            inputs=inputs,
            resets=resets,
            after_reset=keys.after_reset,
            settle=keys.settle.in_cycles(clock),
            hang_after=keys.hang_after.in_cycles(clock),
            new_source=new_source,
            name=self.bench.name,
            traffic=label,
        )
        self._check_targets(system)
        return system

    def _keys(self) -> BenchKeys | None:
        from busbox.bench_schema import check_keys

        keys, wrong = check_keys(self.bench.keys)
        for path, text in wrong:
            self.wrong(path, text)
        return keys

    def _spans(self, keys: BenchKeys) -> None:
        for key in ("settle", "hang_after"):
            if getattr(keys, key).in_cycles(keys.clock) < 1:
                self.wrong((key,), "must be at least one cycle, not 0")

    # Slots.

    def _slots_anyway(self) -> None:
        """Look for mistakes in the models' settings although other keys are wrong."""
        from pydantic import ValidationError

        from busbox.bench_schema import SlotKeys

        slots = self.bench.keys.get("slot")
        for name, given in slots.items() if isinstance(slots, dict) else ():
            try:
                self._placed(name, SlotKeys.model_validate(given))
            except ValidationError:
                continue

    def _devices(self, keys: BenchKeys) -> tuple[Placed, ...]:
        before = len(self.mistakes)
        placed = [self._placed(name, slot) for name, slot in keys.slot.items()]
        names = list(keys.slot)
        for name, slot in keys.slot.items():
            for other in slot.yields_to:
                if other not in names or other == name:
                    self.wrong(
                        ("slot", name, "yields_to"),
                        f"must name other slots, not {other!r}{nearest(other, names)}",
                    )
        good = tuple(one for one in placed if one is not None)
        if len(self.mistakes) == before:
            self._check_yields(good)
            self._check_overlaps(good)
        return good

    def _placed(self, name: str, keys: SlotKeys) -> Placed | None:
        before = len(self.mistakes)
        path: KeyPath = ("slot", name)
        if not _SLOT_NAME.fullmatch(name):
            self.wrong(path, f"a slot's name must be letters, digits and _, not {name!r}")
        if keys.compare is not None and keys.decode is not None:
            self.wrong((*path, "decode"), "must not stand beside compare")
        model = self._model(path, keys.model)
        if model is None:
            return None
        settings = self._settings(path, model, keys.model_extra or {})
        decode = "compare" if keys.compare is not None else keys.decode or "full"
        slot = Slot(
            name, keys.base, keys.size, decode, keys.compare or frozenset(), keys.wait,
            tuple(keys.yields_to),
        )  # fmt: skip
        for key, text in slot.mistakes():
            self.wrong((*path, key), text)
        if len(self.mistakes) > before:
            return None
        return self._with_table(path, slot, model, keys.model, settings)

    def _with_table(
        self, path: KeyPath, slot: Slot, model: Any, kind: Any, settings: dict[str, Any]
    ) -> Placed | None:
        table = model.table_for(settings, slot.size)
        if table.end > slot.size:
            self.wrong(
                (*path, "size"), f"must hold registers up to {table.end:#x}, not {slot.size:#x}"
            )
            return None
        slot = Slot(
            slot.name, slot.base, slot.size, slot.decode, slot.compare, slot.wait, slot.yields_to,
            table,
        )  # fmt: skip
        label = kind if isinstance(kind, str) else kind.__name__
        return Placed(slot, model, label, settings, tuple(model.pins_for(settings)))

    def _model(self, path: KeyPath, given: object) -> Any:
        from busbox.bench_schema import SLOT_KEYS
        from busbox.registry import model_class

        if isinstance(given, type):
            model: Any = given
        elif isinstance(given, str):
            try:
                model = model_class(given, self.bench.folder)
            except InputError as error:
                for mistake in error.mistakes:
                    place = f"{mistake.where}:{mistake.line}: " if mistake.line else ""
                    self.wrong((*path, "model"), place + mistake.text)
                return None
        else:
            self.wrong((*path, "model"), f"must be a text, not {given!r}")
            return None
        taken = [one.name for one in model.settings if one.name in SLOT_KEYS]
        if taken:
            self.wrong((*path, "model"), f"its setting {taken[0]!r} has the name of a slot's key")
            return None
        return model

    def _settings(self, path: KeyPath, model: Any, given: Mapping[str, Any]) -> dict[str, Any]:
        before = len(self.mistakes)
        declared: dict[str, Setting] = {one.name: one for one in model.settings}
        for key in given:
            if key not in declared:
                from busbox.bench_schema import SlotKeys

                known = [*SlotKeys.model_fields, *declared]
                self.wrong(
                    (*path, key),
                    f"unknown key {key!r}{nearest(key, known)} (known: {one_of(known)})",
                )
        settings = {name: self._setting(path, setting, given) for name, setting in declared.items()}
        if len(self.mistakes) == before:
            problem = model.check(settings)
            if problem:
                self.wrong(path, problem)
        return settings

    def _setting(self, path: KeyPath, setting: Setting, given: Mapping[str, Any]) -> Any:
        if setting.name not in given:
            if setting.default is REQUIRED:
                self.wrong((*path, setting.name), f"must be given: {setting.text}")
            return setting.default
        value = given[setting.name]
        problem = setting.problem(value)
        if problem:
            self.wrong((*path, setting.name), problem)
        elif setting.kind == "path":
            file = self.bench.folder / value
            if not file.is_file():
                self.wrong((*path, setting.name), f"there is no file {value!r} beside the bench")
            return str(file)
        return value

    def _check_yields(self, placed: Sequence[Placed]) -> None:
        gives = {one.slot.name: set(one.slot.yields_to) for one in placed}
        for name in gives:
            seen, queue = set(), list(gives[name])
            while queue:
                other = queue.pop()
                if other not in seen:
                    seen.add(other)
                    queue.extend(gives.get(other, ()))
            if name in seen:
                self.wrong(("slot", name, "yields_to"), f"goes round in a circle back to {name!r}")
                return

    def _check_overlaps(self, placed: Sequence[Placed]) -> None:
        from busbox.address_map import AddressMap

        for one, other, first, last in AddressMap([p.slot for p in placed]).overlaps():
            self.wrong(
                ("slot", other.name),
                f"overlaps slot {one.name!r}: both answer at {first:#010x}..{last:#010x} "
                f'(move one, or let one give way: yields_to = ["{one.name}"])',
            )

    # Inputs, resets, traffic.

    def _inputs(self, keys: BenchKeys, placed: Sequence[Placed]) -> tuple[InputLevel, ...]:
        found: list[InputLevel] = []
        seen: set[tuple[int, int, str]] = set()
        for number, one in enumerate(keys.input):
            where = self._pin(("input", number, "pin"), one.pin, placed)
            if where is None:
                continue
            level = InputLevel(one.at.in_cycles(keys.clock), *where, one.level)
            if (level.cycle, *where) in seen:
                self.wrong(
                    ("input", number, "at"), f"{one.pin} has two levels in cycle {level.cycle}"
                )
            seen.add((level.cycle, *where))
            found.append(level)
        return tuple(sorted(found, key=lambda level: level.cycle))

    def _pin(self, path: KeyPath, name: str, placed: Sequence[Placed]) -> tuple[int, str] | None:
        slot, _, pin = name.partition(".")
        names = [one.slot.name for one in placed]
        if slot not in names:
            if len(names) == len(self.bench.keys.get("slot", {})):
                self.wrong(path, f"there is no slot {slot!r}{nearest(slot, names)}")
            return None
        device = names.index(slot)
        pins = {one.name: one for one in placed[device].pins}
        inputs = [one.name for one in pins.values() if one.direction == "input"]
        if pin in pins and pin not in inputs:
            self.wrong(path, f"must be an input; {name} is an output")
        elif pin not in pins:
            close = nearest(pin, inputs) if inputs else "; it has no inputs"
            self.wrong(path, f"{slot} has no pin {pin!r}{close}")
        else:
            return device, pin
        return None

    def _resets(self, keys: BenchKeys) -> tuple[Reset, ...]:
        found = sorted(
            (one.at.in_cycles(keys.clock), one.length, number)
            for number, one in enumerate(keys.reset)
        )
        end = -1
        for at, length, number in found:
            if at < 1:
                self.wrong(("reset", number, "at"), "must be in cycle 1 or later, not 0")
            elif at <= end:
                self.wrong(
                    ("reset", number, "at"),
                    f"needs a cycle with RST low before it: not before {end + 1}, not {at}",
                )
            end = at + length
        return tuple(Reset(at, length) for at, length, _ in found)

    def _traffic(self, given: object, from_bench: bool) -> tuple[Callable[[], Source], str]:
        path: KeyPath = ("traffic",)
        nothing: tuple[Callable[[], Source], str] = (lambda: ListSource(()), "")
        if given is None:
            self.wrong(path, "must be given: [traffic] file = ..., or --traffic FILE")
            return nothing
        if isinstance(given, Mapping):
            unknown = [key for key in given if key != "file"]
            for key in unknown:
                self.wrong(
                    (*path, key), f"unknown key {key!r}{nearest(key, ['file'])} (known: file)"
                )
            if "file" not in given:
                if not unknown:
                    self.wrong(path, "must have a key file")
                return nothing
            given, path = given["file"], (*path, "file")
            if not isinstance(given, str):
                self.wrong(path, f"must be a text, not {given!r}")
                return nothing
        try:
            if isinstance(given, str | Path):
                return self._traffic_file(str(given), self.bench.folder if from_bench else Path())
            source = source_of(given)
        except InputError as error:
            for mistake in error.mistakes:
                if mistake.where:
                    self.mistakes.append(mistake)
                else:
                    self.wrong(path, mistake.text)
            return nothing
        return source.again, getattr(given, "__name__", "")

    def _traffic_file(self, name: str, folder: Path) -> tuple[Callable[[], Source], str]:
        from busbox.registry import load_object

        if ".py:" in name:
            function = load_object(name, folder, "function")
            if not callable(function):
                raise InputError.of(f"{name} must be a function, not {function!r}")
            return lambda: FunctionSource(function), name.rpartition(":")[0]
        file = folder / name
        steps = read_traffic(file)
        return lambda: ListSource(steps), str(file)

    def _check_targets(self, system: System) -> None:
        """Look up every name in traffic that is known before the run."""
        from busbox.replay import address_of

        source = system.new_source()
        if not isinstance(source, ListSource):
            return
        for step in source.steps:
            if isinstance(step, Access | Poll) and isinstance(step.target, Named):
                try:
                    address_of(step.target, system)
                except ValueError as error:
                    self.mistakes.append(Mistake(str(error), system.traffic, step.line))
        self.done()
