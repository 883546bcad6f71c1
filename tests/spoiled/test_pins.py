"""Pins, wires, replies, handlers and what must hold: each mistake is told in one message."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

CASES: tuple[Spoiled, ...] = (
    Spoiled(
        "A wire must begin somewhere.",
        "busbox: bench.toml:52: wire.0.from: must be given, such as 'telegraph.tx'\n",
        edits=(("[[reset]]", '[[wire]]\nto = "levers.in.3"\n\n[[reset]]'),),
    ),
    Spoiled(
        "A wire must end somewhere.",
        "busbox: bench.toml:52: wire.0.to: must be given, such as 'levers.in.3'\n",
        edits=(("[[reset]]", '[[wire]]\nfrom = "levers.out.3"\n\n[[reset]]'),),
    ),
    Spoiled(
        "A wire begins at an output.",
        "busbox: bench.toml:53: wire.0.from: must be an output; levers.in.2 is an input\n",
        edits=(("[[reset]]", '[[wire]]\nfrom = "levers.in.2"\nto = "levers.in.3"\n\n[[reset]]'),),
    ),
    Spoiled(
        "A wire ends at an input.",
        "busbox: bench.toml:54: wire.0.to: must be an input; levers.out.3 is an output\n",
        edits=(("[[reset]]", '[[wire]]\nfrom = "levers.out.2"\nto = "levers.out.3"\n\n[[reset]]'),),
    ),
    Spoiled(
        "A wire's pins must exist.",
        (
            "busbox: bench.toml:53: wire.0.from: telegraph has no pin 'tz'\nbusbox: "
            "bench.toml:54: wire.0.to: levers has no pin 'in.9'; did you mean 'in.7'?\n"
        ),
        edits=(("[[reset]]", '[[wire]]\nfrom = "telegraph.tz"\nto = "levers.in.9"\n\n[[reset]]'),),
    ),
    Spoiled(
        "A wired input has no other driver.",
        "busbox: bench.toml:54: wire.0.to: levers.in.4 is driven by input.0 already\n",
        edits=(("[[reset]]", '[[wire]]\nfrom = "telegraph.tx"\nto = "levers.in.4"\n\n[[reset]]'),),
    ),
    Spoiled(
        "Two wires do not drive one input.",
        "busbox: bench.toml:57: wire.1.to: levers.in.3 is driven by wire.0 already\n",
        edits=(
            (
                "[[reset]]",
                (
                    '[[wire]]\nfrom = "telegraph.tx"\nto = "levers.in.3"\n[[wire]]\nfrom = '
                    '"levers.out.3"\nto = "levers.in.3"\n\n[[reset]]'
                ),
            ),
        ),
    ),
    Spoiled(
        "A wire is a text.",
        "busbox: bench.toml:53: wire.0.from: must be a string such as 'telegraph.tx', not 3\n",
        edits=(("[[reset]]", '[[wire]]\nfrom = 3\nto = "levers.in.3"\n\n[[reset]]'),),
    ),
    Spoiled(
        "A key of a wire must be known.",
        (
            "busbox: bench.toml:53: wire.0.form: unknown key 'form'; did you mean 'from'? "
            "(known: from or to)\n"
        ),
        edits=(("[[reset]]", '[[wire]]\nform = "levers.out.3"\nto = "levers.in.3"\n\n[[reset]]'),),
    ),
    Spoiled(
        "Wires are a list of tables.",
        "busbox: bench.toml:44: wire: must be a list of tables, [[wire]], not a table\n",
        edits=(("[traffic]", '[wire]\nfrom = "levers.out.3"\n\n[traffic]'),),
    ),
    Spoiled(
        "A reply belongs to a slot that has rx.",
        "busbox: bench.toml:53: reply.0.of: levers has no pin 'rx'\n",
        edits=(
            ("[[reset]]", '[[reply]]\nof = "levers"\nafter_text = "?"\nsend = "!"\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "A reply needs a text to wait for.",
        (
            "busbox: bench.toml:54: reply.0.after_text: must be a string of at least one "
            "character, not ''\n"
        ),
        edits=(
            ("[[reset]]", '[[reply]]\nof = "telegraph"\nafter_text = ""\nsend = "!"\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "A reply needs bytes.",
        (
            "busbox: bench.toml:55: reply.0.send: must be a string of Latin-1 characters or a list of "
            "bytes, not []\n"
        ),
        edits=(
            ("[[reset]]", '[[reply]]\nof = "telegraph"\nafter_text = "?"\nsend = []\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "A reply's bytes are bytes.",
        (
            "busbox: bench.toml:55: reply.0.send: must be a string of Latin-1 characters or a list of "
            "bytes, not [256]\n"
        ),
        edits=(
            (
                "[[reset]]",
                '[[reply]]\nof = "telegraph"\nafter_text = "?"\nsend = [256]\n\n[[reset]]',
            ),
        ),
    ),
    Spoiled(
        "A reply's delay is a time.",
        (
            "busbox: bench.toml:56: reply.0.delay: must be a number with s, ms, us, ns or ps, "
            "or whole cycles, not 'soon'\n"
        ),
        edits=(
            (
                "[[reset]]",
                (
                    '[[reply]]\nof = "telegraph"\nafter_text = "?"\nsend = "!"\ndelay = '
                    '"soon"\n\n[[reset]]'
                ),
            ),
        ),
    ),
    Spoiled(
        "A reply's rate is positive.",
        (
            "busbox: bench.toml:56: reply.0.rate: must be bits per second, a whole number "
            "from 1 on, not 0\n"
        ),
        edits=(
            (
                "[[reset]]",
                '[[reply]]\nof = "telegraph"\nafter_text = "?"\nsend = "!"\nrate = 0\n\n[[reset]]',
            ),
        ),
    ),
    Spoiled(
        "An input has not both level and bytes.",
        "busbox: bench.toml:47: input.0: must have one of level, bytes or capture\n",
        edits=(("level = 1", 'level = 1\nbytes = "x"'),),
    ),
    Spoiled(
        "An input's bytes are Latin-1.",
        (
            "busbox: bench.toml:50: input.0.bytes: must be a string of Latin-1 characters or a list of "
            "bytes, not '€'\n"
        ),
        edits=(("level = 1", 'bytes = "€"'),),
    ),
    Spoiled(
        "A must has one of its kinds.",
        (
            "busbox: bench.toml:52: expect.0: must have one of text, level, frames, colours, "
            "findings, register, cycles, errors or answered, not nothing\n"
        ),
        edits=(("[[reset]]", "[[expect]]\n\n[[reset]]"),),
    ),
    Spoiled(
        "A must has one kind only.",
        (
            "busbox: bench.toml:52: expect.0: must have one of text, level, frames, colours, "
            "findings, register, cycles, errors or answered, not text or frames\n"
        ),
        edits=(
            (
                "[[reset]]",
                (
                    '[[expect]]\ntext = { of = "telegraph", is = "" }\n'
                    'frames = { of = "lamps", exactly = 0 }\n\n[[reset]]'
                ),
            ),
        ),
    ),
    Spoiled(
        "A must's kind must be known.",
        (
            "busbox: bench.toml:53: expect.0.texts: unknown key 'texts'; did you mean "
            "'text'? (known: text, level, frames, colours, findings, register, cycles, errors or "
            "answered)\n"
        ),
        edits=(("[[reset]]", '[[expect]]\ntexts = { of = "telegraph", is = "" }\n\n[[reset]]'),),
    ),
    Spoiled(
        "A text is that of a slot or an attachment that gives text.",
        (
            "busbox: bench.toml:53: expect.0.text.of: must be a slot or an attachment "
            "that has text, not 'telegaph'; did you mean 'telegraph'?\n"
        ),
        edits=(("[[reset]]", '[[expect]]\ntext = { of = "telegaph", is = "" }\n\n[[reset]]'),),
    ),
    Spoiled(
        "A text is compared in one way.",
        (
            "busbox: bench.toml:53: expect.0.text: must have one of is, contains or ends_with, "
            "not nothing\n"
        ),
        edits=(("[[reset]]", '[[expect]]\ntext = { of = "telegraph" }\n\n[[reset]]'),),
    ),
    Spoiled(
        "A text is compared with a text.",
        (
            "busbox: bench.toml:53: expect.0.text.is: must be a string of Latin-1 "
            "characters, not 3\n"
        ),
        edits=(("[[reset]]", '[[expect]]\ntext = { of = "telegraph", is = 3 }\n\n[[reset]]'),),
    ),
    Spoiled(
        "Frames are counted in one way.",
        (
            "busbox: bench.toml:53: expect.0.frames: must have one of at_least, at_most or "
            "exactly, not at_least or exactly\n"
        ),
        edits=(
            (
                "[[reset]]",
                '[[expect]]\nframes = { of = "lamps", at_least = 1, exactly = 1 }\n\n[[reset]]',
            ),
        ),
    ),
    Spoiled(
        "A number of frames is not negative.",
        "busbox: bench.toml:53: expect.0.frames.at_least: must be a whole number from 0 on, not -1\n",
        edits=(("[[reset]]", '[[expect]]\nframes = { of = "lamps", at_least = -1 }\n\n[[reset]]'),),
    ),
    Spoiled(
        "A key of an expectation must be known.",
        (
            "busbox: bench.toml:53: expect.0.frames.atleast: unknown key 'atleast'; did you "
            "mean 'at_least'? (known: of, at_least, at_most or exactly)\n"
        ),
        edits=(("[[reset]]", '[[expect]]\nframes = { of = "lamps", atleast = 1 }\n\n[[reset]]'),),
    ),
    Spoiled(
        "Colours are RRGGBB.",
        (
            "busbox: bench.toml:53: expect.0.colours.are: must hold colours such as '400000' "
            "(RRGGBB), not 'red'\n"
        ),
        edits=(
            ("[[reset]]", '[[expect]]\ncolours = { of = "lamps", are = ["red"] }\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "Colours are a list.",
        (
            "busbox: bench.toml:53: expect.0.colours.are: must be a list of colours such as "
            "'400000', not '400000'\n"
        ),
        edits=(
            ("[[reset]]", '[[expect]]\ncolours = { of = "lamps", are = "400000" }\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "A frame has a number.",
        (
            "busbox: bench.toml:53: expect.0.colours.frame: must be the number of a frame (-1: "
            "the last), not 'last'\n"
        ),
        edits=(
            (
                "[[reset]]",
                '[[expect]]\ncolours = { of = "lamps", frame = "last", are = [] }\n\n[[reset]]',
            ),
        ),
    ),
    Spoiled(
        "A level's pin must exist.",
        (
            "busbox: bench.toml:53: expect.0.level.pin: must be a pin, not 'levers.out.8'; did "
            "you mean 'levers.out.7'?\n"
        ),
        edits=(("[[reset]]", '[[expect]]\nlevel = { pin = "levers.out.8", is = 1 }\n\n[[reset]]'),),
    ),
    Spoiled(
        "A level to be is 0 or 1.",
        "busbox: bench.toml:53: expect.0.level.is: must be 0 or 1, not true\n",
        edits=(
            ("[[reset]]", '[[expect]]\nlevel = { pin = "levers.out.7", is = true }\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "A level's time is a time.",
        (
            "busbox: bench.toml:53: expect.0.level.at: a time must be a number with s, ms, us, "
            "ns or ps, or whole cycles, not 'noon'\n"
        ),
        edits=(
            (
                "[[reset]]",
                '[[expect]]\nlevel = { pin = "levers.out.7", is = 1, at = "noon" }\n\n[[reset]]',
            ),
        ),
    ),
    Spoiled(
        "A rule is a text.",
        "busbox: bench.toml:53: expect.0.findings.rule: must be a rule, not ['byte-lost']\n",
        edits=(
            (
                "[[reset]]",
                '[[expect]]\nfindings = { rule = ["byte-lost"], exactly = 0 }\n\n[[reset]]',
            ),
        ),
    ),
    Spoiled(
        "What must hold stands in [[expect]] only.",
        "busbox: bench.toml:52: must: unknown key 'must' (known: KEYS)\n",
        edits=(("[[reset]]", "[[must]]\nframes = 3\n\n[[reset]]"),),
    ),
    Spoiled(
        "A rule must exist.",
        (
            "busbox: bench.toml:53: expect.0.findings.rule: must be a rule, not 'byte-loss'; "
            "did you mean 'byte-lost'?\n"
        ),
        edits=(
            (
                "[[reset]]",
                '[[expect]]\nfindings = { rule = "byte-loss", exactly = 0 }\n\n[[reset]]',
            ),
        ),
    ),
    Spoiled(
        "A register must exist.",
        (
            "busbox: bench.toml:53: expect.0.register.of: must be a register such as "
            "levers.OUT, not 'lamps.COUNTS'; did you mean 'lamps.COUNT'?\n"
        ),
        edits=(
            ("[[reset]]", '[[expect]]\nregister = { of = "lamps.COUNTS", is = 8 }\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "A register's value is a number.",
        "busbox: bench.toml:53: expect.0.register.is: must be a whole number from 0 on, not '8'\n",
        edits=(
            ("[[reset]]", '[[expect]]\nregister = { of = "lamps.COUNT", is = "8" }\n\n[[reset]]'),
        ),
    ),
    Spoiled(
        "An expectation is a table.",
        (
            'busbox: bench.toml:53: expect.0.frames: must be a table such as { of = "lamps", '
            "at_least = 1 }, not 3\n"
        ),
        edits=(("[[reset]]", "[[expect]]\nframes = 3\n\n[[reset]]"),),
    ),
    Spoiled(
        "Too many polls are a whole number.",
        "busbox: bench.toml:3: poll_storm: must be a whole number of reads from 1 on, not 0\n",
        edits=(('settle = "1 ms"', 'settle = "1 ms"\npoll_storm = 0'),),
    ),
    Spoiled(
        "Stuck is a time.",
        (
            "busbox: bench.toml:3: stuck_after: must be a number with s, ms, us, ns or ps, or "
            "whole cycles, not 'long'\n"
        ),
        edits=(('settle = "1 ms"', 'settle = "1 ms"\nstuck_after = "long"'),),
    ),
    Spoiled(
        "Stuck is at least a cycle.",
        "busbox: bench.toml:3: stuck_after: must be at least one cycle, not 0\n",
        edits=(('settle = "1 ms"', 'settle = "1 ms"\nstuck_after = 0'),),
    ),
    Spoiled(
        "An await names a pin.",
        "busbox: day.steps:1: await must name a pin such as levers.in.4\n",
        files={"day.steps": "await\n"},
    ),
    Spoiled(
        "An await's pin has a slot.",
        "busbox: day.steps:1: a pin must be slot.pin, such as levers.in.4, not 'lever'\n",
        files={"day.steps": "await lever 1\n"},
    ),
    Spoiled(
        "An await's pin must exist.",
        (
            "busbox: day.steps:1: levers has no pin 'in.8'; did you mean 'in.7'?\nbusbox: "
            "day.steps:2: there is no slot 'lever'; did you mean 'levers'?\n"
        ),
        files={"day.steps": "await levers.in.8 1\nawait lever.in.1 1\n"},
    ),
    Spoiled(
        "An await waits for 0 or 1.",
        "busbox: day.steps:1: await must be followed by a pin and its level, 0 or 1, not 'high'\n",
        files={"day.steps": "await levers.in.4 high\n"},
    ),
    Spoiled(
        "An await's limit is a time.",
        (
            "busbox: day.steps:1: a time must be a number with s, ms, us, ns or ps, or whole "
            "cycles, not 'soon'\n"
        ),
        files={"day.steps": "await levers.in.4 1 limit soon\n"},
    ),
    Spoiled(
        "An await's limit is at least a cycle.",
        "busbox: day.steps:1: limit must be at least one cycle, not 0\n",
        files={"day.steps": "await levers.in.4 1 limit 0\n"},
    ),
    Spoiled(
        "An await knows no other word.",
        "busbox: day.steps:1: unexpected 'until'; expected limit\n",
        files={"day.steps": "await levers.in.4 1 until 5\n"},
    ),
    Spoiled(
        "A handler has a name.",
        "busbox: day.steps:1: handler needs a name: handler NAME on PIN enter N leave N\n",
        files={"day.steps": "handler\nend\n"},
    ),
    Spoiled(
        "A handler says on which pin.",
        "busbox: day.steps:1: a handler's name must be followed by on PIN\n",
        files={"day.steps": "handler pull levers.in.4\nend\n"},
    ),
    Spoiled(
        "A handler's pin must exist.",
        "busbox: day.steps:1: levers has no pin 'in.44'; did you mean 'in.4'?\n",
        files={"day.steps": "handler pull on levers.in.44\nend\n"},
    ),
    Spoiled(
        "A handler has an end.",
        "busbox: day.steps:2: handler pull has no 'end'\n",
        files={
            "day.steps": "write levers.OUT 1\nhandler pull on levers.in.4\nwrite levers.OUT 2\n"
        },
    ),
    Spoiled(
        "A handler does not stand in another.",
        "busbox: day.steps:2: a handler inside a handler: pull has no 'end'\n",
        files={"day.steps": "handler pull on levers.in.4\nhandler push on levers.in.5\nend\n"},
    ),
    Spoiled(
        "An end closes a handler.",
        "busbox: day.steps:1: 'end' without a matching 'handler'\n",
        files={"day.steps": "end\n"},
    ),
    Spoiled(
        "An end stands alone.",
        "busbox: day.steps:2: unexpected 'pull' after 'end'\n",
        files={"day.steps": "handler pull on levers.in.4\nend pull\n"},
    ),
    Spoiled(
        "A handler's options are known.",
        "busbox: day.steps:1: unexpected 'exit'; expected enter or leave\n",
        files={"day.steps": "handler pull on levers.in.4 enter 5 exit 3\nend\n"},
    ),
    Spoiled(
        "A handler's step is checked like any other.",
        "busbox: day.steps:2: levers has no register 'OTU'; did you mean 'OUT'?\n",
        files={"day.steps": "handler pull on levers.in.4\n  write levers.OTU 2\nend\n"},
    ),
    Spoiled(
        "A reset knows no other word.",
        "busbox: day.steps:1: unexpected 'now'; expected +CYCLES\n",
        files={"day.steps": "reset now\n"},
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The sentence of the row; one message a mistake, exit code 2, and no file left behind."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
