"""A bench: system, traffic and inputs, from one TOML file or from Python.

All mistakes in a bench are reported at once, each with its line; a syntax error of
TOML comes alone.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, format_value
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.strangers import ALLOW_OUTSIDE, files_outside, outside_allowed
from busbox.basics.toml_file import read_toml
from busbox.basics.toml_lines import KeyPath, key_lines, line_of
from busbox.basics.units import parse_span
from busbox.bench.find import comes_with_busbox, find_bench
from busbox.bench.from_python import check_values
from busbox.bench.mistakes import Mistakes
from busbox.bench.set_values import Change, Origin, with_changes
from busbox.plugins import as_html, as_svg
from busbox.system.hardware import Device
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.bench.building import Building
    from busbox.bench.kept_traffic import KeptTraffic
    from busbox.engines import EngineFactory
    from busbox.recording import Recording
    from busbox.run.live import Live
    from busbox.run.loop import Progress


class Bench:
    """A bench, not yet checked: :meth:`system` and :meth:`run` report its mistakes.

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
        #: Where all files that the keys name must be, None for anywhere.
        self.root: Path | None = None
        self._lines = key_lines(text)
        self._changed: dict[KeyPath, Origin] = {}
        #: The keys before any change.
        self._first = self.keys

    def __repr__(self) -> str:
        slots = self.keys.get("slot")
        names = ", ".join(map(str, slots)) if isinstance(slots, Mapping) else ""
        return f"<Bench {self.name}: clock {self.keys.get('clock')}, slots {names or 'none'}>"

    def _repr_html_(self) -> str:
        return as_html(self)

    def _repr_svg_(self) -> str | None:
        return as_svg(self)

    @classmethod
    def load(cls, path: str | Path, *, outside: bool = False) -> Bench:
        """Return the bench of a file, of a folder with bench.toml, or one that comes with Busbox.

        Parameters
        ----------
        outside : whether it may name files outside of its folder, as ``--allow-outside`` says

        Raises
        ------
        InputError : there is none, it cannot be read, or it is no TOML
        """
        file = find_bench(path)
        keys, text = read_toml(file)
        folder = file.parent
        name = folder.resolve().name if file.name == "bench.toml" else file.stem
        bench = cls(keys, folder=folder, name=name, file=file, text=text)
        bench.root = None if outside or comes_with_busbox(file) else folder
        return bench

    def with_values(
        self, values: Iterable[str] | Mapping[str, Any], option: str = "--set"
    ) -> Bench:
        """Return the bench with values changed.

        Parameters
        ----------
        values : each ``KEY=VALUE``, or a table of keys and values; KEY is a path such as
            ``slot.lamps.base`` or ``input.0.at``, VALUE is TOML, else text. ``variant=NAME`` stands
            for what the bench keeps under ``[variant.NAME]``
        option : how messages call where the values come from

        Raises
        ------
        InputError : no such place or variant in the bench
        """
        changes: Iterable[Change | str] = (
            [Change(key, value, (option, None)) for key, value in values.items()]
            if isinstance(values, Mapping)
            else values
        )
        changed = copy.copy(self)
        changed.keys, paths = with_changes(self.keys, changes, self._place, option)
        changed._changed = self._changed | paths
        return changed

    def system(self, traffic: object = None, *, kept: KeptTraffic | None = None) -> System:
        """Return the system, checked.

        Parameters
        ----------
        traffic : a file, a function or steps to play instead of the bench's
        kept : traffic files that were read before and need not be parsed again, for many variants

        Raises
        ------
        InputError : with every mistake of the bench and of its traffic
        """
        with limited_hooks():
            return self._building(kept).system(self.name, bool(self.file), traffic)

    def devices(self) -> tuple[Device, ...]:
        """Return the devices in their slots, checked; traffic is not looked at.

        Raises
        ------
        InputError : with every mistake of the bench, its traffic left aside
        """
        with limited_hooks():
            return self._building().devices()

    def run(
        self,
        engine: str | EngineFactory = "auto",
        until: int | str | None = None,
        *,
        traffic: object = None,
        progress: Progress | None = None,
        system: System | None = None,
        carried: bool = True,
        live: Live | None = None,
    ) -> Recording:
        """Run the bench and return its recording, judged; it carries the bench.

        Parameters
        ----------
        engine : see :data:`busbox.engines.ENGINES`; or what makes an engine, such as one
            :func:`busbox.engines.for_many_runs`
        until : cycles, or a time such as ``"2 ms"``
        traffic : a file, a function or steps to play instead of the bench's
        progress : ``progress(cycle, share)``, called now and then: the cycle that the run has come to,
            and the share of the steps that is over, from 0.0 to 1.0, None if their number is not known
            (a function, a file that is read as it is played); what it raises ends the run
        system : what :meth:`system` has given for this bench and traffic, if that is there already
        carried : whether the recording carries the bench
        live : a terminal at a serial port (:class:`busbox.run.live.Live`); what is typed there is among
            the inputs of the bench that the recording carries

        Raises
        ------
        InputError : something is wrong with the bench, its traffic or these arguments
        PartlyJudged : a rule or an attachment failed once the run was over; it holds the recording
        """
        from busbox.bench.carrying import carry
        from busbox.engines import engine_class
        from busbox.findings.judging import judge
        from busbox.run.undefined import replay_and_look

        system = self.system(traffic) if system is None else system
        factory = engine_class(engine) if isinstance(engine, str) else engine
        cycles = _until(until, system.clock_hz)
        facts = replay_and_look(system, factory, cycles, progress, live=live)
        if carried:
            keys = self.keys
            if live is not None and live.tables():
                keys = keys | {"input": [*keys.get("input", []), *live.tables()]}
            inside = carry(keys, self.folder, system, traffic, facts)
            facts = replace(facts, carried=inside)
        return judge(facts, system)

    def _building(self, kept: KeptTraffic | None = None) -> Building:
        from busbox.bench.building import Building

        mistakes = Mistakes(self.file, self._place, self._changed)
        check_values(self.keys, mistakes)
        self._check_inside(mistakes)
        return Building(self.keys, self.folder, mistakes, self._first, kept)

    def _check_inside(self, mistakes: Mistakes) -> None:
        """Refuse files outside of the bench's folder; what ``--set`` says is the user's own.

        Raises
        ------
        InputError : with each key that names one
        """
        if self.root is None or outside_allowed():
            return
        for path, name in files_outside(self.keys, self.folder, self.root):
            origins = [self._changed.get(path[:length]) for length in range(1, len(path) + 1)]
            if not any(origin is not None and origin[0] == "--set" for origin in origins):
                text = f"must be inside the bench's folder, not {format_value(name)}"
                mistakes.note(path, f"{text}; {ALLOW_OUTSIDE} permits it")
        mistakes.raise_any()

    def _place(self, path: KeyPath) -> tuple[str, int | None]:
        """Return the file and line of a key; if its value was changed, those of the change."""
        for length in range(len(path), 0, -1):
            if path[:length] in self._changed:
                return self._changed[path[:length]]
        return self.file, line_of(self._lines, path)


def load_bench(path: str | Path, *, outside: bool = False) -> Bench:
    """Return the bench of a file, of a folder with bench.toml, or one that comes with Busbox.

    Parameters
    ----------
    outside : whether it may name files outside of its folder
    """
    return Bench.load(path, outside=outside)


def _until(value: int | str | None, clock_hz: int) -> int | None:
    if value is None:
        return None
    try:
        cycles = parse_span(value).in_cycles(clock_hz)
    except ValueError as error:
        raise InputError.of(str(error).removeprefix("a time "), key="until") from None
    if cycles < 1:
        raise InputError.of("must be at least one cycle, not 0", key="until")
    return cycles
