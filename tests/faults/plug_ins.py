"""The plug-ins that the walk spoils: one of every kind, each hook of which can be told to fail.

This text is written into a file beside a bench. Which hook fails, and how, is in two variables of the
environment: ``FAULT`` names the hook, ``RUBBISH`` what it does.
"""

HEAD = '''
import os
import sys

import numpy as np


class Odd(BaseException):
    """No Exception."""


def act(hook, fine):
    """Return what a hook returns, or do what it was told to do."""
    if os.environ.get("FAULT") != hook:
        return fine
    kind = os.environ["RUBBISH"]
    if kind == "raise":
        raise KeyError("lever")
    if kind == "value error":
        raise ValueError("no lever")
    if kind == "odd":
        raise Odd("odd")
    if kind == "exit":
        sys.exit(0)
    if kind == "memory":
        raise MemoryError
    if kind == "deep":
        return act(hook, fine)
    if kind == "loop":
        while True:
            pass
    if kind == "stubborn":
        while True:
            try:
                pass
            except Exception:
                pass
    if kind == "print":
        print("noise from a hook")
        sys.stdout.flush()
        return fine
    if kind == "fork":
        os.fork()
        return fine
    return {
        "object": object(), "text": "x", "none": None, "huge": 1 << 100, "negative": -7,
        "fraction": 1.5, "numpy": np.int64(1), "list": [1, [2]], "array": np.zeros(3),
    }[kind]
'''

BODY = '''
from amaranth.hdl import Module, Signal

from busbox.board.attachment import (
    Advice, Decoder, Driver, Explanation, LineFinding, LineReport,
)
from busbox.bus.hardware import Hardware, NoteReader
from busbox.cpu.source_kind import SourceKind
from busbox.cpu.steps import AccessStep, Named
from busbox.device import NO_ACCESS, Pin, Register, RegisterModel, RegisterTable, Setting
from busbox.findings import Sighting
from busbox.formats.contract import Format

TABLE = RegisterTable(
    Register("LEVEL", 0x00, "rw", "The level.", reset=0),
    Register("STATE", 0x04, "ro", "The state."),
)


class Model(RegisterModel):
    """A model."""

    table = TABLE
    pins = (Pin("hammer", carries="text"), Pin("lever", "input"))
    sends = ("text",)
    twin = "faulty.py:Hard"

    def __init__(self, host, **settings):
        super().__init__(host, **settings)
        act("Model.__init__", None)

    @classmethod
    def check(cls, settings):
        return act("Model.check", None)

    @classmethod
    def table_for(cls, settings, size):
        return act("Model.table_for", TABLE)

    @classmethod
    def pins_for(cls, settings):
        return act("Model.pins_for", cls.pins)

    @classmethod
    def resets_for(cls, settings, clock_hz):
        return act("Model.resets_for", {})

    @classmethod
    def because(cls, settings, pin, cycle, access, past):
        return act("Model.because", iter(()))

    def forward(self, cycle):
        act("Model.forward", None)

    def show_STATE(self):
        return act("Model.show_STATE", 1)

    def cacheable_until_STATE(self):
        return act("Model.cacheable_until_STATE", self.cycle + 1)

    def read_STATE(self, number):
        return act("Model.read_STATE", None)

    def write_LEVEL(self, write):
        act("Model.write_LEVEL", None)
        host = self.host
        if os.environ.get("FAULT", "").startswith("host."):
            self.report(write, host)
        host.edge("hammer", write.shows, write.value & 1, write.number)
        host.event(write.cycle, "struck", write.number, level=write.value)
        host.character(write.cycle, 65, write.number)
        host.wake_at(write.cycle + 3)

    def report(self, write, host):
        at, number = write.cycle, write.number
        host.edge(act("host.edge.pin", "hammer"), at + 1, 1, number)
        host.edge("hammer", act("host.edge.cycle", at + 1), 1, number)
        host.edge("hammer", at + 1, act("host.edge.level", 1), number)
        host.edge("hammer", at + 1, 1, act("host.edge.access", number))
        host.event(act("host.event.cycle", at), "struck", number)
        host.event(at, act("host.event.kind", "struck"), number)
        host.event(at, "struck", act("host.event.access", number))
        host.event(at, "struck", number, detail=act("host.event.detail", 1))
        host.character(act("host.character.cycle", at), 65, number)
        host.character(at, act("host.character.byte", 65), number)
        host.character(at, 65, act("host.character.access", number))
        host.wake_at(act("host.wake_at", at + 3))
        host.cacheable_until(act("host.cacheable_until", None))

    def clear(self):
        act("Model.clear", None)

    def input(self, cycle, pin, level):
        act("Model.input", None)

    def wake(self, cycle):
        act("Model.wake", None)

    def next_edge(self, cycle):
        return act("Model.next_edge", None)

    def rest_at(self, cycle):
        return act("Model.rest_at", cycle)

    def access(self, access):
        return act("Model.access", super().access(access))

    def advance(self, cycle):
        super().advance(cycle)
        act("Model.advance", None)

    def close(self, cycle):
        super().close(cycle)
        act("Model.close", None)

    def reset(self, cycle, length):
        super().reset(cycle, length)
        act("Model.reset", None)

    def registers(self):
        return act("Model.registers", super().registers())


class Reader(NoteReader):
    """Reads notes."""

    def __init__(self, host, **settings):
        super().__init__(host, **settings)
        act("Reader.__init__", None)

    def access(self, access):
        act("Reader.access", None)

    def take_notes(self, cycle, notes):
        act("Reader.take_notes", None)
        self.host.event(cycle, "noted", **notes)

    def cause(self, pin, cycle):
        return act("Reader.cause", NO_ACCESS)

    def reset(self, cycle, length):
        act("Reader.reset", None)


class Hard(Hardware):
    """Hardware."""

    table = TABLE
    pins = (Pin("hammer"), Pin("lever", "input"))
    note_reader = Reader

    @classmethod
    def check(cls, settings):
        return act("Hard.check", None)

    @classmethod
    def table_for(cls, settings, size):
        return act("Hard.table_for", TABLE)

    @classmethod
    def pins_for(cls, settings):
        return act("Hard.pins_for", cls.pins)

    @classmethod
    def resets_for(cls, settings, clock_hz):
        return act("Hard.resets_for", {})

    @classmethod
    def note_widths(cls, settings):
        return act("Hard.note_widths", {"level": 1})

    @classmethod
    def notes_for(cls, settings):
        return act("Hard.notes_for", ())

    @classmethod
    def undefined_for(cls, settings):
        return act("Hard.undefined_for", ())

    def build(self, m, registers):
        level = registers.LEVEL
        act("Hard.build", None)
        m.d.comb += [
            self.pin_hammer.eq(level.value[0]),
            self.notes_valid.eq(level.written),
            self.note_level.eq(level.value[0]),
        ]


def described():
    return act("Ear.finding.describe", ("a stroke.", "Strike."))


def advised():
    return act("Ear.finding.advice", Advice())


class Ear(Decoder):
    """A decoder."""

    sends = ("text",)
    settings = (Setting("loud", 1),)

    def __init__(self, board, **settings):
        super().__init__(board, **settings)
        act("Ear.__init__", None)

    @classmethod
    def check(cls, settings):
        return act("Ear.check", None)

    def decode(self, wave):
        found = LineFinding("framing", 0, described, advice=advised)
        report = LineReport(
            rows=act("Ear.rows", [("strokes", "1")]),
            facts=act("Ear.facts", {"strokes": 1}),
            text=act("Ear.text", "B"),
            characters=act("Ear.characters", [(3, 66)]),
            frames=act("Ear.frames", None),
            current=act("Ear.current", None),
            findings=act("Ear.findings", [found]),
        )
        return act("Ear.decode", report)

    def describe(self, wave, tick):
        return act("Ear.describe", "stroke 1")

    def explain(self, wave, tick, sent):
        return act("Ear.explain", Explanation())


class Hand(Driver):
    """A driver."""

    def __init__(self, board, **settings):
        super().__init__(board, **settings)
        act("Hand.__init__", None)

    @classmethod
    def check(cls, settings):
        return act("Hand.check", None)

    def drive(self):
        yield act("Hand.drive.cycle", 5), act("Hand.drive.level", 1)
        yield act("Hand.drive", (12, 0))


def told():
    return act("struck.describe", ("struck.", "Wait."))


def struck(facts):
    """The bell was struck.

    Why it matters: somebody hears it.

    What to do
    ----------
    Wait.
    """
    cycle, access = act("struck.cycle", 3), act("struck.access", 0)
    key = act("struck.key", "bell")
    yield act("struck", Sighting(cycle, access, "bell", "LEVEL", key, told))


class Peal(SourceKind):
    """A source."""

    def __init__(self, **settings):
        act("Peal.__init__", None)
        self.left = 2
        self.ahead = act("Peal.ahead", False)

    @classmethod
    def check(cls, settings):
        return act("Peal.check", None)

    @property
    def count(self):
        return act("Peal.count", 2)

    @property
    def handlers(self):
        return act("Peal.handlers", ())

    def next(self, moment):
        self.left -= 1
        step = AccessStep(True, Named("bell", "LEVEL"), 1) if self.left >= 0 else None
        return act("Peal.next", step)

    def again(self):
        return act("Peal.again", Peal())

    def close(self):
        act("Peal.close", None)


def firmware(bus):
    bus.write("bell.LEVEL", act("firmware.data", 1))
    bus.write("bell.LEVEL", 0, wait=act("firmware.wait", 2))
    bus.pin(act("firmware.pin", "bell.hammer"))
    bus.read(act("firmware.target", "bell.STATE"))
    act("firmware", None)


def read(file, name):
    file.read()
    yield act("format.read", AccessStep(True, Named("bell", "LEVEL"), 1))


def write(steps):
    for step in steps:
        yield act("format.write", b"x")


KEPT = Format("A format.", read, write)


def export(result, target):
    target.text.write(act("export.text", "kept"))
    act("export", None)


def measure(recording):
    return act("measure", 1)
'''

FILE = HEAD + BODY
