"""From the keys of a bench to the system that runs: every mistake on the way is collected."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, Mistake, nearest, no_file, one_of, raised, shown
from busbox.board.attachment import Driver
from busbox.board_builder import BoardBuilder
from busbox.cpu.source import FunctionSource, ListedSource, Source, not_firmware, source_of
from busbox.cpu.steps import Access, Await, Named, Poll
from busbox.device import REQUIRED, Setting
from busbox.formats.files import check_suffix, read_pieces
from busbox.formats.text import limited
from busbox.map.slots import Slot
from busbox.system.hardware import Device, FabricOptions
from busbox.system.scenario import Attached, BoardReset, InputLevel, Reply, Wire
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.bench.bench import Bench
    from busbox.bench_schema import BenchKeys, Checked, InputKeys, MustKeys, SlotKeys
    from busbox.findings.expectations import Must

KeyPath = tuple[str | int, ...]

_SLOT_NAME = re.compile(r"[A-Za-z_]\w*")


def _holds(value: object, key: str) -> bool:
    return isinstance(value, dict) and key in value


def _names_in(tables: object) -> list[str]:
    """Return the names of named tables, whatever else is wrong with them."""
    return list(tables) if isinstance(tables, dict) else []


class Builder:
    """Builds the system of a bench, and collects every mistake on the way.

    What is wrong is left out, and the rest is looked at all the same: a mistake is told only if it
    is one whatever the broken parts were meant to be.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.mistakes: list[Mistake] = []
        self.names = _names_in(bench.keys.get("slot"))

    def wrong(self, path: KeyPath, text: str) -> None:
        """Note a mistake at a key."""
        where, line = self.bench.place(path)
        self.mistakes.append(Mistake(text, where, line, ".".join(map(str, path))))

    def done(self) -> None:
        """Raise what was noted: of the bench, of ``--set``, of other files, each by line."""
        if self.mistakes:
            files = list(dict.fromkeys(mistake.where for mistake in self.mistakes))
            files.sort(key=lambda where: (where != self.bench.file, where != "--set"))

            def place(mistake: Mistake) -> tuple[int, bool, int]:
                return files.index(mistake.where), mistake.line is None, mistake.line or 0

            raise InputError(sorted(self.mistakes, key=place))

    def devices(self) -> tuple[Device, ...]:
        """Return the devices."""
        checked, device = self._keys()
        self._board(checked, device)
        BoardBuilder(self, checked, device).build()
        self.done()
        return device

    def build(self, traffic: object) -> System:
        """Return the system."""
        checked, device = self._keys()
        inputs, resets = self._board(checked, device)
        board = BoardBuilder(self, checked, device)
        attached = board.build()
        wires, replies = self._connected(checked, device, attached)
        inputs = tuple(sorted((*inputs, *board.driven(attached)), key=lambda level: level.cycle))
        rules = self._rules(checked, attached)
        musts = self._musts(checked, device, attached, rules)
        keys = checked.keys
        given = keys.traffic if traffic is None else traffic
        new_source, label = self._traffic(given, traffic is None)
        clock = keys.clock
        system = System(
            clock_hz=clock,
            fabric=FabricOptions(**keys.fabric.model_dump()),
            devices=device,
            inputs=inputs,
            resets=resets,
            after_reset=keys.after_reset,
            settle=keys.settle.in_cycles(clock),
            hang_after=keys.hang_after.in_cycles(clock),
            new_source=new_source,
            name=self.bench.name,
            traffic=label,
            poll_storm=keys.poll_storm,
            stuck_after=keys.stuck_after.in_cycles(clock) if keys.stuck_after else None,
            wires=wires,
            replies=replies,
            verdicts=musts,
            rules=rules or {},
            attached=attached,
            supply=keys.supply,
            firmware=self._file(("firmware",), keys.firmware) if keys.firmware else "",
        )
        self._check_targets(system)
        self.done()
        return system

    def _keys(self) -> tuple[Checked, tuple[Device, ...]]:
        from busbox.bench_schema import check_keys

        checked = check_keys(self.bench.keys)
        for path, text in checked.mistakes:
            self.wrong(path, text)
        for name in self.names:
            if ("slot", name) in checked.broken:
                self._settings_anyway(name)
        return checked, self._devices(checked.keys)

    def _board(
        self, checked: Checked, device: Sequence[Device]
    ) -> tuple[tuple[InputLevel, ...], tuple[BoardReset, ...]]:
        """Return what comes from outside, and check times; without a clock, only what is sure."""
        timed = ("clock",) not in checked.broken
        if timed:
            for key in ("settle", "hang_after", "stuck_after"):
                span = getattr(checked.keys, key)
                if span is not None and span.in_cycles(checked.keys.clock) < 1:
                    self.wrong((key,), "must be at least one cycle, not 0")
        inputs = self._inputs(checked, device, timed)
        return inputs, self._resets(checked) if timed else ()

    # Slots.

    def _settings_anyway(self, name: str) -> None:
        """Look for mistakes in a slot's name and settings although its own keys are wrong."""
        from busbox.bench_schema import SLOT_KEYS

        path: KeyPath = ("slot", name)
        self.check_name(path, name)
        given = self.bench.keys["slot"][name]
        model = self._model(path, given["model"]) if _holds(given, "model") else None
        if model is not None:
            others = {key: given[key] for key in given if key not in SLOT_KEYS}
            self.settings(path, model, others, SLOT_KEYS)

    def _devices(self, keys: BenchKeys) -> tuple[Device, ...]:
        device = [self._device(name, slot) for name, slot in keys.slot.items()]
        yields = [self._check_yield(name, slot.yields_to) for name, slot in keys.slot.items()]
        good = tuple(one for one in device if one is not None)
        if all(yields):
            self._check_yields(good)
            self._check_overlaps(good)
        return good

    def _check_yield(self, name: str, yields_to: Sequence[str]) -> bool:
        others = [other for other in self.names if other != name]
        path: KeyPath = ("slot", name, "yields_to")
        wrong = [other for other in yields_to if other not in others]
        for other in wrong:
            close = " itself" if other == name else nearest(other, others)
            self.wrong(path, f"must name other slots, not {other!r}{close}")
        return not wrong

    def check_name(self, path: KeyPath, name: str, whose: str = "a slot's") -> None:
        """Note a name that is none."""
        if not _SLOT_NAME.fullmatch(name):
            self.wrong(
                path, f"{whose} name must be letters, digits and _, no digit first, not {name!r}"
            )

    def _device(self, name: str, keys: SlotKeys) -> Device | None:
        from busbox.bench_schema import SLOT_KEYS

        before = len(self.mistakes)
        path: KeyPath = ("slot", name)
        self.check_name(path, name)
        if keys.compare is not None and keys.decode is not None:
            self.wrong((*path, "decode"), "must not stand beside compare: one of them says it all")
        model = self._model(path, keys.model)
        if model is not None:
            model = self._built_as(path, model, keys)
        settings = self.settings(path, model, keys.model_extra or {}, SLOT_KEYS) if model else {}
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

    def _built_as(self, path: KeyPath, model: Any, keys: SlotKeys) -> Any:
        """Return what the slot holds: the model, or its twin in Amaranth."""
        from busbox.plugins import twin_of

        if keys.built_as == "hardware" and not model.in_amaranth:
            try:
                model = twin_of(model, shown(keys.model))
            except InputError as error:
                self.wrong((*path, "as"), str(error))
                return None
        elif keys.built_as == "model" and model.in_amaranth:
            self.wrong((*path, "as"), f"{shown(keys.model)} is hardware; it names no model")
        if model.in_amaranth and keys.wait < model.least_wait:
            self.wrong(
                (*path, "wait"),
                f"must be at least {model.least_wait} for {model.__name__}, not {keys.wait}",
            )
        return model

    def _with_table(
        self, path: KeyPath, slot: Slot, model: Any, kind: Any, settings: dict[str, Any]
    ) -> Device | None:
        table = self._asked(path, model, "table_for", settings, slot.size)
        pins = self._asked(path, model, "pins_for", settings)
        if table is None or pins is None:
            return None
        if table.end > slot.size:
            self.wrong(
                (*path, "size"),
                f"must be at least {table.end:#x}, to hold the model's registers, "
                f"not {slot.size:#x}",
            )
            return None
        label = kind if isinstance(kind, str) else kind.__name__
        return Device(replace(slot, table=table), model, label, settings, tuple(pins))

    def _asked(
        self, path: KeyPath, model: Any, method: str, *given: object, key: str = "model"
    ) -> Any:
        """Return what a method of a class says; what it raises is a mistake at the class's key."""
        try:
            return getattr(model, method)(*given)
        except Exception as error:
            self.wrong((*path, key), f"its {method} raised {raised(error)}")
            return None

    def _model(self, path: KeyPath, given: object) -> Any:
        from busbox.bench_schema import SLOT_KEYS
        from busbox.plugins import checked_model, model_class

        if not isinstance(given, str | type):
            self.wrong((*path, "model"), f"must be a text such as 'gpio', not {shown(given)}")
            return None
        try:
            model: Any = (
                checked_model(given.__name__, given)
                if isinstance(given, type)
                else model_class(given, self.bench.folder)
            )
        except InputError as error:
            for mistake in error.mistakes:
                self.wrong((*path, "model"), str(mistake))
            return None
        taken = [one.name for one in model.settings if one.name in SLOT_KEYS]
        if taken:
            self.wrong((*path, "model"), f"its setting {taken[0]!r} has the name of a slot's key")
            return None
        return model

    def settings(
        self, path: KeyPath, model: Any, given: Mapping[str, Any], keys: Sequence[str]
    ) -> dict[str, Any]:
        """Return every setting of a model or attachment, checked; ``keys`` are known besides."""
        before = len(self.mistakes)
        declared: dict[str, Setting] = {one.name: one for one in model.settings}
        for key in given:
            if key not in declared:
                known = [*keys, *declared]
                self.wrong(
                    (*path, key),
                    f"unknown key {key!r}{nearest(key, known)} (known: {one_of(known)})",
                )
        settings = {name: self._setting(path, setting, given) for name, setting in declared.items()}
        if len(self.mistakes) == before:
            problem = self._asked(path, model, "check", settings, key=keys[0])
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
            return self._file((*path, setting.name), value)
        return value

    def _file(self, path: KeyPath, name: str) -> str:
        """Return the file that a key names, looked up beside the bench."""
        file = self.bench.folder / name
        problem = no_file(file)
        if problem:
            self.wrong(path, problem.replace(repr(str(file)), repr(name), 1))
        return str(file)

    def _check_yields(self, device: Sequence[Device]) -> None:
        gives = {one.slot.name: one.slot.yields_to for one in device}
        for name in gives:
            trails: list[tuple[str, ...]] = [(name,)]
            seen: set[str] = set()
            while trails:
                trail = trails.pop(0)
                for other in gives.get(trail[-1], ()):
                    if other == name:
                        circle = ", ".join((*trail, name))
                        text = f"must not go round in a circle: {circle}"
                        self.wrong(("slot", name, "yields_to"), text)
                        return
                    if other not in seen:
                        seen.add(other)
                        trails.append((*trail, other))

    def _check_overlaps(self, device: Sequence[Device]) -> None:
        from busbox.map.slots import AddressMap

        for one, other, first, last in AddressMap([p.slot for p in device]).overlaps():
            paths: list[KeyPath] = [("slot", slot.name, "base") for slot in (other, one)]
            moved = [path for path in paths if self.bench.place(path)[0] == "--set"]
            path = (moved or paths)[0]
            met = one if path[1] == other.name else other
            self.wrong(
                path,
                f"the slot overlaps slot {met.name!r}: both answer at {first:#010x}..{last:#010x} "
                f'(move one, or let one give way: yields_to = ["{met.name}"])',
            )

    # Inputs, resets, traffic.

    def _inputs(
        self, checked: Checked, device: Sequence[Device], timed: bool
    ) -> tuple[InputLevel, ...]:
        found: list[InputLevel] = []
        seen: set[tuple[int, int, str]] = set()
        for number, one in zip(checked.left["input"], checked.keys.input, strict=True):
            where = self.pin(("input", number, "pin"), one.pin, device)
            if where is None:
                continue
            ways = [one.level is not None, one.bytes is not None, one.capture is not None]
            if sum(ways) != 1:
                self.wrong(("input", number), "must have one of level, bytes or capture")
                continue
            self._check_astray(number, one)
            clock = checked.keys.clock
            if one.bytes is not None:
                given = self._input_bytes(one, where, clock)
            elif one.capture is not None:
                given = BoardBuilder(self, checked, device).captured(number, one, where)
            else:
                given = [InputLevel(one.at.in_cycles(clock), *where, one.level or 0)]
            twice = [level.cycle for level in given if (level.cycle, *where) in seen]
            if timed and twice:
                text = f"must be in another cycle than {twice[0]}, in which {one.pin} has been "
                if one.level is None:
                    text = f"must give no level in cycle {twice[0]}, in which {one.pin} has been "
                self.wrong(("input", number, "at"), f"{text}given a level already")
            seen.update((level.cycle, *where) for level in given)
            found += given
        return tuple(sorted(found, key=lambda level: level.cycle))

    def _check_astray(self, number: int, one: InputKeys) -> None:
        """Note the keys of an input that say nothing of what it gives."""
        belong = {"rate": "bytes", "spacing": "bytes", "line": "capture", "sample_clock": "capture"}
        for key, way in belong.items():
            if key in one.model_fields_set and getattr(one, way) is None:
                self.wrong(("input", number, key), f"must stand beside {way} only")

    @staticmethod
    def _input_bytes(one: InputKeys, where: tuple[int, str], clock: int) -> list[InputLevel]:
        from busbox.run.connections import serial_levels

        spacing = one.spacing.seconds
        if spacing is None:
            spacing = Fraction(one.spacing.cycles, clock)
        start = one.at.in_cycles(clock)
        levels = serial_levels(one.bytes or b"", start, clock, one.rate, spacing)
        return [InputLevel(cycle, *where, level) for cycle, level in levels]

    def _connected(
        self, checked: Checked, device: Sequence[Device], attached: Sequence[Attached]
    ) -> tuple[tuple[Wire, ...], tuple[Reply, ...]]:
        """Return wires and replies; every input pin has one thing at most that drives it."""
        drivers = {
            one.pin: f"input.{number}"
            for number, one in zip(checked.left["input"], checked.keys.input, strict=True)
        }
        for one in attached:
            if isinstance(one.part, Driver):
                pin = f"{device[one.device].slot.name}.{one.pin}"
                self._alone(("attach", one.name, "pin"), pin, drivers)
        wires = []
        for number, wire in zip(checked.left["wire"], checked.keys.wire, strict=True):
            start = self.pin(("wire", number, "from"), wire.source, device, "output")
            end = self.pin(("wire", number, "to"), wire.to, device)
            if start and end and self._alone(("wire", number, "to"), wire.to, drivers):
                wires.append(Wire(*start, *end))
        replies = []
        for number, reply in zip(checked.left["reply"], checked.keys.reply, strict=True):
            pin = f"{reply.of}.rx"
            end = self.pin(("reply", number, "of"), pin, device)
            if end and self._alone(("reply", number, "of"), pin, drivers, shared="reply"):
                delay = reply.delay.in_cycles(checked.keys.clock)
                replies.append(Reply(*end, reply.after_text, reply.send, delay, reply.rate))
        return tuple(wires), tuple(replies)

    def _rules(self, checked: Checked, attached: Sequence[Attached]) -> Mapping[str, Any] | None:
        """Return the rules that the bench names, or None if it is open which rules it knows."""
        from busbox.findings.rule_set import RuleMistake, added_rules, clashes

        try:
            added = added_rules(checked.keys.rules, self.bench.folder)
        except RuleMistake as error:
            self.wrong(("rules", error.number), str(error))
            return None
        for name, text in clashes(attached, added):
            self.wrong(("attach", name, "kind"), text)
        return added if len(attached) == len(_names_in(self.bench.keys.get("attach"))) else None

    def _musts(
        self,
        checked: Checked,
        device: Sequence[Device],
        attached: Sequence[Attached],
        rules: Mapping[str, Any] | None,
    ) -> tuple[Must, ...]:
        from busbox.findings.expectations import parse_must
        from busbox.findings.rule_set import rule_ids

        known = None if rules is None else rule_ids(rules, attached)
        found = []
        for number, keys in zip(checked.left["must"], checked.keys.must, strict=True):
            given = keys.model_dump(by_alias=True)
            must = parse_must(given, device, attached, checked.keys.clock, known)
            if isinstance(must, tuple):
                if not self._names_broken(keys, device, attached):
                    self.wrong(("must", number, *must[0]), must[1])
            else:
                found.append(must)
        return tuple(found)

    def _names_broken(
        self, keys: MustKeys, device: Sequence[Device], attached: Sequence[Attached]
    ) -> bool:
        """Return whether an expectation is about something whose mistakes are told already."""
        known = {one.slot.name for one in device} | {one.name for one in attached}
        ways = [way for way in keys.model_dump().values() if isinstance(way, dict)]
        asked = [text.partition(".")[0] for way in ways for text in way.values()
                 if isinstance(text, str)]  # fmt: skip
        names = (*self.names, *_names_in(self.bench.keys.get("attach")))
        return any(name in names and name not in known for name in asked)

    def _alone(self, path: KeyPath, pin: str, drivers: dict[str, str], shared: str = "") -> bool:
        """Note a pin that something else drives; replies may share one."""
        own = ".".join(map(str, path[:2]))
        other = drivers.setdefault(pin, own)
        if other == own or (shared and other.startswith(shared)):
            return True
        self.wrong(path, f"{pin} is driven by {other} already")
        return False

    def pin(
        self,
        path: KeyPath,
        name: str,
        device: Sequence[Device],
        direction: str | None = "input",
    ) -> tuple[int, str] | None:
        """Return (number of the slot, name inside it) of a pin; ``direction`` None: of either."""
        slot, dot, pin = name.partition(".")
        names = [one.slot.name for one in device]
        if slot not in names:
            if slot not in self.names:
                self.wrong(path, f"there is no slot {slot!r}{nearest(slot, self.names)}")
            return None
        if not dot:
            self.wrong(path, f"must be a slot and its pin, such as 'levers.in.4', not {name!r}")
            return None
        device = names.index(slot)
        pins = {one.name: one for one in device[device].pins}
        right = [one.name for one in pins.values() if direction in (None, one.direction)]
        if direction is not None and pin in pins and pin not in right:
            article = {"input": "an input", "output": "an output"}
            self.wrong(
                path, f"must be {article[direction]}; {name} is {article[pins[pin].direction]}"
            )
        elif pin not in pins:
            close = nearest(pin, right) if right else f"; it has no {direction or 'pin'}s"
            self.wrong(path, f"{slot} has no pin {pin!r}{close}")
        else:
            return device, pin
        return None

    def _resets(self, checked: Checked) -> tuple[BoardReset, ...]:
        found = sorted(
            (one.at.in_cycles(checked.keys.clock), one.length, number)
            for number, one in zip(checked.left["reset"], checked.keys.reset, strict=True)
        )
        end = -1
        for at, length, number in found:
            if at < 1:
                self.wrong(("reset", number, "at"), "must be in cycle 1 or later, not 0")
            elif at <= end:
                self.wrong(
                    ("reset", number, "at"),
                    f"must be in cycle {end + 1} or later, not {at}: one cycle or more must lie "
                    "between two resets",
                )
            end = max(end, at + length)
        return tuple(BoardReset(at, length) for at, length, _ in found)

    def _traffic(self, given: object, from_bench: bool) -> tuple[Callable[[], Source], str]:
        path: KeyPath = ("traffic",)
        nothing: tuple[Callable[[], Source], str] = (ListedSource(tuple).again, "")
        if given is None:
            self.wrong(path, "must be given: [traffic] file = 'NAME', or --traffic FILE")
            return nothing
        if isinstance(given, Mapping):
            unknown = [key for key in given if key != "file"]
            for key in unknown:
                close = nearest(str(key), ["file"])
                self.wrong((*path, key), f"unknown key {key!r}{close} (known: file)")
            if "file" not in given:
                if not unknown:
                    self.wrong(path, "must have a key file, such as file = 'NAME.steps'")
                return nothing
            given, path = given["file"], (*path, "file")
            if not isinstance(given, str):
                self.wrong(path, f"must be a text such as 'NAME.steps', not {shown(given)}")
                return nothing
        elif self.bench.file and from_bench and not isinstance(given, str):
            self.wrong(path, f"must be a table, [traffic], not {shown(given)}")
            return nothing
        try:
            if isinstance(given, str | Path):
                return self._traffic_file(str(given), self.bench.folder if from_bench else Path())
            source = source_of(given)
        except InputError as error:
            for mistake in error.mistakes:
                if mistake.where:
                    self.mistakes.append(mistake)
                elif from_bench:
                    self.wrong(path, mistake.text)
                else:
                    self.mistakes.append(Mistake(mistake.text, key="traffic"))
            return nothing
        return source.again, getattr(given, "__name__", "")

    def _traffic_file(self, name: str, folder: Path) -> tuple[Callable[[], Source], str]:
        from busbox.plugins import load_object

        if ".py:" in name:
            function = load_object(name, folder, "function")
            problem = not_firmware(function)
            if problem:
                raise InputError.of(f"{name}: {problem}")
            file = name.rpartition(":")[0]
            return lambda: FunctionSource(function, file, str(folder / file)), file
        check_suffix(Path(name))
        path = folder / name
        problem = no_file(path)
        if problem:
            raise InputError.of(problem.replace(repr(str(path)), repr(name), 1))
        return ListedSource(partial(read_pieces, path)).again, str(path)

    def _check_targets(self, system: System) -> None:
        """Look up every name in traffic that is known before the run."""
        from busbox.run.loop import address_of

        source = system.new_source()
        if not isinstance(source, ListedSource):
            return
        device = {one.slot.name for one in system.devices}
        mistakes: list[Mistake] = []
        for handler in source.handlers:
            mistakes += self._unknown_pin(handler.pin, handler.line, system)
        handled = (step for handler in source.handlers for step in handler.steps)
        for step in chain(source.pieces(), handled):
            if isinstance(step, Await):
                mistakes += self._unknown_pin(step.pin, step.line, system)
            if isinstance(step, Access | Poll) and isinstance(step.target, Named):
                if step.target.slot in self.names and step.target.slot not in device:
                    continue
                try:
                    address_of(step.target, system)
                except ValueError as error:
                    mistakes.append(Mistake(str(error), system.traffic, step.line))
        self.mistakes.extend(limited(mistakes, system.traffic))

    def _unknown_pin(self, name: str, line: int | None, system: System) -> list[Mistake]:
        """Return what is wrong with the name of a pin in the traffic."""
        slot, _, pin = name.partition(".")
        device = {one.slot.name: one for one in system.devices}
        if slot not in device:
            if slot in self.names:
                return []
            text = f"there is no slot {slot!r}{nearest(slot, self.names)}"
        else:
            pins = [one.name for one in device[slot].pins]
            if pin in pins:
                return []
            text = f"{slot} has no pin {pin!r}{nearest(pin, pins)}"
        return [Mistake(text, system.traffic, line)]
