"""From the keys of a bench to what is attached to pins: profiles, attachments, captures as inputs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, Mistake, nearest, one_of, raised, shown
from busbox.system.hardware import Device
from busbox.system.scenario import Attached, InputLevel

if TYPE_CHECKING:
    from busbox.bench_schema import AttachKeys, Checked, InputKeys
    from busbox.board.attachment import Board, Driver
    from busbox.builder import Builder, KeyPath
    from busbox.lines.profiles import Profile


class BoardBuilder:
    """Builds what is attached, and notes every mistake with the builder of the bench."""

    def __init__(self, builder: Builder, checked: Checked, device: Sequence[Device]) -> None:
        self.builder, self.checked, self.device = builder, checked, device

    def build(self) -> tuple[Attached, ...]:
        """Return what is attached."""
        keys = self.checked.keys
        if not (keys.attach or keys.profile):
            return ()
        from busbox.board.attachment import Board

        before = len(self.builder.mistakes)
        board = Board(keys.clock, self._profiles())
        if len(self.builder.mistakes) > before:
            return ()
        found = [self._attached(name, one, board) for name, one in keys.attach.items()]
        return tuple(one for one in found if one is not None)

    def _profiles(self) -> Mapping[str, Profile]:
        from busbox.lines.profiles import PROFILES, Profile

        found = dict(PROFILES)
        for name, keys in self.checked.keys.profile.items():
            if name in PROFILES:
                text = (
                    f"must have a name of its own, not that of one that comes with Busbox, {name!r}"
                )
                self.builder.wrong(("profile", name), text)
                continue
            self.builder.check_name(("profile", name), name, "a profile's")
            try:
                found[name] = Profile.of(name, keys)
            except InputError as error:
                for mistake in error.mistakes:
                    path = ("profile", name, *([mistake.key] if mistake.key else []))
                    self.builder.wrong(path, mistake.text)
        return found

    def _attached(self, name: str, keys: AttachKeys, board: Board) -> Attached | None:
        from busbox.board.attachment import Driver

        path: KeyPath = ("attach", name)
        before = len(self.builder.mistakes)
        self.builder.check_name(path, name, "an attachment's")
        if name in self.builder.names:
            self.builder.wrong(path, f"must have a name of its own, not that of slot {name!r}")
        kind = self._kind(path, keys.kind)
        if kind is None:
            return None
        from busbox.bench_schema import ATTACH_KEYS

        given = keys.model_extra or {}
        settings = self.builder.settings(path, kind, given, ATTACH_KEYS)
        direction = "input" if issubclass(kind, Driver) else None
        where = self.builder.pin((*path, "pin"), keys.pin, self.device, direction)
        if where is None or len(self.builder.mistakes) > before:
            return None
        try:
            part = kind(board, **settings)
        except ValueError as error:
            self.builder.wrong(path, str(error))
            return None
        except Exception as error:
            self.builder.wrong((*path, "kind"), f"it raised {raised(error)}")
            return None
        label = keys.kind if isinstance(keys.kind, str) else kind.__name__
        return Attached(name, label, *where, part)

    def _kind(self, path: KeyPath, given: object) -> Any:
        from busbox.bench_schema import ATTACH_KEYS
        from busbox.plugins import ATTACHMENTS, checked, find

        if not isinstance(given, str | type):
            text = f"must be a text such as 'lamp_string', not {shown(given)}"
            self.builder.wrong((*path, "kind"), text)
            return None
        try:
            kind = (
                checked(ATTACHMENTS, given.__name__, given)
                if isinstance(given, type)
                else find(ATTACHMENTS, given, self.builder.bench.folder)
            )
        except InputError as error:
            for mistake in error.mistakes:
                self.builder.wrong((*path, "kind"), str(mistake))
            return None
        taken = [one.name for one in kind.settings if one.name in ATTACH_KEYS]
        if taken:
            text = f"its setting {taken[0]!r} has the name of a key of [attach.NAME]"
            self.builder.wrong((*path, "kind"), text)
            return None
        return kind

    # Inputs.

    def driven(self, attached: Sequence[Attached]) -> Iterator[InputLevel]:
        """Yield the levels that drivers give to input pins."""
        from busbox.board.attachment import Driver

        for one in attached:
            if not isinstance(one.part, Driver):
                continue
            try:
                yield from self._levels(one, one.part)
            except ValueError as error:
                self.builder.wrong(("attach", one.name), str(error))
            except Exception as error:
                self.builder.wrong(("attach", one.name), f"its drive raised {raised(error)}")

    def _levels(self, one: Attached, part: Driver) -> list[InputLevel]:
        """Return the levels of a driver.

        Raises
        ------
        ValueError : they are no levels, or not in order
        """
        found: list[InputLevel] = []
        for cycle, level in part.drive():
            if level not in (0, 1):
                raise ValueError(f"its drive must give levels of 0 or 1, not {shown(level)}")
            if type(cycle) is not int or cycle < 0 or (found and cycle <= found[-1].cycle):
                raise ValueError(
                    f"its drive must give cycles that increase from 0 on, not {shown(cycle)}"
                )
            found.append(InputLevel(cycle, one.device, one.pin, int(level)))
        return found

    def captured(self, number: int, keys: InputKeys, where: tuple[int, str]) -> list[InputLevel]:
        """Return the levels that a capture gives to an input pin."""
        from busbox.lines.captures import read_capture

        path: KeyPath = ("input", number)
        assert keys.capture is not None
        file = self.builder.bench.folder / keys.capture
        try:
            waves = read_capture(file, keys.sample_clock)
        except InputError as error:
            for mistake in error.mistakes:
                self._wrong_capture(path, keys.capture, file, mistake)
            return []
        if keys.line is None and len(waves) > 1:
            text = f"must be given, since the capture has several: {one_of(waves)}"
            self.builder.wrong((*path, "line"), text)
            return []
        line = next(iter(waves)) if keys.line is None else keys.line
        if line not in waves:
            known = list(waves)
            text = f"must be {one_of(known)}, not {line!r}{nearest(line, known)}"
            self.builder.wrong((*path, "line"), text)
            return []
        if not len(waves[line].times):
            text = f"must have a level of 0 or 1; that of {line} is never known"
            self.builder.wrong((*path, "capture"), text)
            return []
        start, clock = keys.at.in_cycles(self.checked.keys.clock), self.checked.keys.clock
        wave = waves[line]
        cycles = [
            start + -(-(time - int(wave.times[0])) * wave.tick * clock // 1)
            for time in wave.times.tolist()
        ]
        for one, other, time in zip(cycles, cycles[1:], wave.times.tolist()[1:], strict=False):
            if one == other:
                self.builder.wrong(
                    (*path, "capture"),
                    f"the clock must be faster: two edges of {line} fall into cycle {one} (the second "
                    f"is {float(time * wave.tick):.9g} s into the capture)",
                )
                return []
        levels = wave.levels.tolist()
        return [InputLevel(one, *where, level) for one, level in zip(cycles, levels, strict=True)]

    def _wrong_capture(self, path: KeyPath, name: str, file: Path, mistake: Mistake) -> None:
        """Note a mistake of a capture: at the key, or at the line of its file."""
        if mistake.line is None:
            text = mistake.text.replace(repr(str(file)), repr(name), 1)
            self.builder.wrong((*path, "capture"), text)
        else:
            self.builder.mistakes.append(replace(mistake, where=str(file)))
