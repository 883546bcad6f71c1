"""What is attached to pins, profiles, supply, captures as inputs: each mistake is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Files, Spoiled, assert_told

# Tables that are good, each at the end of those in the bench: the first line of one is line 52.
STRING = '[attach.string]\nkind = "lamp_string"\npin = "lamps.line"\ncount = 8\n'
PAPER = '[attach.paper]\nkind = "terminal"\npin = "telegraph.tx"\n'
LEVER = '[attach.lever]\nkind = "switch"\npin = "levers.in.5"\n'
LAMP = '[attach.lamp]\nkind = "level"\npin = "levers.out.0"\n'
PROFILE = (
    "[profile.OWN]\n"
    'zero_high = ["250 ns", "550 ns"]\n'
    'one_high = ["650 ns", "950 ns"]\n'
    'zero_low = ["700 ns", "1000 ns"]\n'
    'one_low = ["300 ns", "600 ns"]\n'
    'gap = "50 us"\n'
)
GONG = '[attach.gong]\nkind = "gong.py:Gong"\npin = "levers.out.0"\n'
BELLOWS = '[attach.gong]\nkind = "gong.py:Gong"\npin = "levers.in.5"\n'
CAPTURE = {"line.csv": "time_us,tx\n0,1\n5,0\n"}
TWO_LINES = {"line.csv": "time_us,tx,rx\n0,1,1\n5,0,1\n"}


def added(
    says: str, text: str, told: str, files: Files | None = None, told_at: str = "bench.toml:"
) -> Spoiled:
    """Return a bench with further tables; ``told`` without the file's name, one line a mistake."""
    lines = "".join(f"busbox: {told_at}{one}\n" for one in told.splitlines())
    return Spoiled(says, lines, (("[[reset]]", f"{text.rstrip()}\n\n[[reset]]"),), files or {})


def gong(says: str, table: str, told: str, body: str, base: str = "Decoder") -> Spoiled:
    """Return a bench with an attachment from a file, its class with that body."""
    names = "Driver, LineReport, Decoder, LineFinding"
    text = (
        f'"""A gong."""\n\nfrom busbox.board.attachment import {names}\n'
        f"from busbox.device import Setting\n\n\nclass Gong({base}):\n{body}"
    )
    told_at = "" if told.startswith("attach") else "bench.toml:"
    return added(says, table, told, {"gong.py": text}, told_at)


def other_key(says: str, text: str, told: str) -> Spoiled:
    """Return a bench with a key of its own in line 4."""
    edit = ("hang_after = 1000\n", f"hang_after = 1000\n{text}\n")
    return Spoiled(says, f"busbox: bench.toml:4: {told}\n", (edit,))


def other_input(says: str, text: str, told: str, files: Files | None = None) -> Spoiled:
    """Return a bench whose input has other keys than ``level``, from line 50 on."""
    return Spoiled(says, f"busbox: {told}\n", (("level = 1", text),), files or {})


CASES: tuple[Spoiled, ...] = (
    added(
        "Attachments are tables, not a list.",
        '[[attach]]\nkind = "level"',
        "52: attach: must be tables, [attach.NAME], not [a table]",
    ),
    added(
        "An attachment has a kind.",
        '[attach.lamp]\npin = "levers.out.0"',
        "52: attach.lamp.kind: must be given, such as 'lamp_string'",
    ),
    added(
        "An attachment's kind is a text.",
        '[attach.lamp]\nkind = 3\npin = "levers.out.0"',
        "53: attach.lamp.kind: must be a string such as 'lamp_string', not 3",
    ),
    added(
        "An attachment's kind must exist.",
        '[attach.lamp]\nkind = "levle"\npin = "levers.out.0"',
        (
            "53: attach.lamp.kind: there is no kind of attachment 'levle'; did you mean "
            "'level'? (known: lamp_string, terminal, switch, level or file.py:Class)"
        ),
    ),
    added(
        "A kind in a file names its class.",
        '[attach.lamp]\nkind = "bell.py"\npin = "levers.out.0"',
        "53: attach.lamp.kind: must name the class too, such as 'bell.py:Bell', not 'bell.py'",
    ),
    added(
        "A kind's file must exist.",
        '[attach.lamp]\nkind = "gong.py:Gong"\npin = "levers.out.0"',
        "53: attach.lamp.kind: there is no file 'gong.py'",
    ),
    added(
        "A model is no kind of attachment.",
        '[attach.lamp]\nkind = "gpio"\npin = "levers.out.0"',
        (
            "53: attach.lamp.kind: there is no kind of attachment 'gpio' (known: lamp_string, "
            "terminal, switch, level or file.py:Class)"
        ),
    ),
    added(
        "An attachment has a pin.",
        '[attach.lamp]\nkind = "level"',
        "52: attach.lamp.pin: must be given, such as 'lamps.line'",
    ),
    added(
        "An attachment's pin is a text.",
        '[attach.lamp]\nkind = "level"\npin = 0',
        "54: attach.lamp.pin: must be a string such as 'lamps.line', not 0",
    ),
    added(
        "An attachment's pin must exist.",
        '[attach.lamp]\nkind = "level"\npin = "levers.out.8"',
        "54: attach.lamp.pin: levers has no pin 'out.8'; did you mean 'out.7'?",
    ),
    added(
        "An attachment's pin is of a slot that there is.",
        '[attach.lamp]\nkind = "level"\npin = "leverz.out.0"',
        "54: attach.lamp.pin: there is no slot 'leverz'; did you mean 'levers'?",
    ),
    added(
        "A pin without a dot is no pin.",
        '[attach.lamp]\nkind = "level"\npin = "levers"',
        "54: attach.lamp.pin: must be a slot and its pin, such as 'levers.in.4', not 'levers'",
    ),
    added(
        "A slot without pins has none to decode.",
        '[attach.lamp]\nkind = "level"\npin = "book.data"',
        "54: attach.lamp.pin: book has no pin 'data'; it has no pins",
    ),
    added(
        "A driver drives no output.",
        '[attach.lever]\nkind = "switch"\npin = "levers.out.0"',
        "54: attach.lever.pin: must be an input; levers.out.0 is an output",
    ),
    added(
        "Two drivers do not drive one pin.",
        LEVER + '\n[attach.hand]\nkind = "switch"\npin = "levers.in.5"',
        "58: attach.hand.pin: levers.in.5 is driven by attach.lever already",
    ),
    added(
        "A driver and an input do not drive one pin.",
        '[attach.lever]\nkind = "switch"\npin = "levers.in.4"',
        "54: attach.lever.pin: levers.in.4 is driven by input.0 already",
    ),
    added(
        "A driver and a wire do not drive one pin.",
        LEVER + '\n[[wire]]\nfrom = "levers.out.0"\nto = "levers.in.5"',
        "58: wire.0.to: levers.in.5 is driven by attach.lever already",
    ),
    added(
        "An attachment has not the name of a slot.",
        '[attach.lamps]\nkind = "level"\npin = "levers.out.0"',
        "52: attach.lamps: the name 'lamps' is taken by a slot; choose another",
    ),
    added(
        "An attachment's name is a name.",
        '[attach."1st lamp"]\nkind = "level"\npin = "levers.out.0"',
        (
            "52: attach.1st lamp: an attachment name may contain only letters, digits and _, "
            "and must not start with a digit; got '1st lamp'"
        ),
    ),
    added(
        "A setting of a kind must be known.",
        LAMP + "onn = 1",
        "55: attach.lamp.onn: unknown key 'onn'; did you mean 'on'? (known: kind, pin or on)",
    ),
    added(
        "The level that counts is 0 or 1.",
        LAMP + "on = 2",
        "55: attach.lamp.on: must be a whole number from 0 to 1, not 2",
    ),
    added(
        "The level that counts is a number.",
        LAMP + "on = true",
        "55: attach.lamp.on: must be a whole number from 0 to 1, not true",
    ),
    added(
        "Turns are a list.",
        LEVER + 'turns = "2 ms"',
        "55: attach.lever.turns: must be a list of times such as '2 ms', not '2 ms'",
    ),
    added(
        "Each turn is a time.",
        LEVER + 'turns = ["2 ms", "soon"]',
        (
            "55: attach.lever.turns: must be a number with s, ms, us, ns or ps, or whole "
            "cycles, not 'soon'"
        ),
    ),
    added(
        "A switch's level is 0 or 1.",
        LEVER + "level = -1",
        "55: attach.lever.level: must be a whole number from 0 to 1, not -1",
    ),
    added(
        "A bounce is a time.",
        LEVER + 'bounce = "2 V"',
        (
            "55: attach.lever.bounce: must be a number with s, ms, us, ns or ps, or whole "
            "cycles, not '2 V'"
        ),
    ),
    added(
        "A contact bounces once or more.",
        LEVER + "bounces = 0",
        "55: attach.lever.bounces: must be a whole number from 1 to 1000, not 0",
    ),
    added(
        "A contact bounces a thousand times at most.",
        LEVER + "bounces = 1001",
        "55: attach.lever.bounces: must be a whole number from 1 to 1000, not 1001",
    ),
    added(
        "Turns come in order.",
        LEVER + 'turns = ["3 ms", "2 ms"]',
        (
            "52: attach.lever: turns must come in order, each after the bouncing of the one "
            "before (until cycle 48000), not in cycle 32000"
        ),
    ),
    added(
        "A turn comes after the bouncing of the one before.",
        LEVER + 'turns = ["2 ms", "2.5 ms"]\nbounce = "1 ms"',
        (
            "52: attach.lever: turns must come in order, each after the bouncing of the one "
            "before (until cycle 48000), not in cycle 40000"
        ),
    ),
    added(
        "A bounce leaves a cycle between two changes.",
        LEVER + 'turns = ["2 us"]\nbounce = "250 ns"\nbounces = 4',
        (
            "52: attach.lever: bounce must leave at least one cycle between changes of "
            "the contact; two fall into cycle 33"
        ),
    ),
    added(
        "A contact is not turned in cycle 0.",
        LEVER + 'turns = ["0 s"]',
        "52: attach.lever: turns must be in cycle 1 or later, not 0",
    ),
    added(
        "A terminal's rate is a number.",
        PAPER + 'baud = "fast"',
        "55: attach.paper.baud: must be a number from 1 to 1e+12, not 'fast'",
    ),
    added(
        "A terminal's rate is positive.",
        PAPER + "baud = 0",
        "55: attach.paper.baud: must be a number from 1 to 1e+12, not 0",
    ),
    added(
        "A terminal's format is one.",
        PAPER + 'format = "8X1"',
        (
            "52: attach.paper: a format must be data bits 5 to 9, parity N, E or O, and stop "
            "bits 1, 1.5 or 2, such as 8N1, not '8X1'"
        ),
    ),
    added(
        "A terminal's format is a text.",
        PAPER + "format = 8",
        "55: attach.paper.format: must be a string, not 8",
    ),
    added(
        "A string has a count.",
        '[attach.string]\nkind = "lamp_string"\npin = "lamps.line"',
        ("52: attach.string.count: must be given: Number of lamps."),
    ),
    added(
        "A string has a lamp or more.",
        '[attach.string]\nkind = "lamp_string"\npin = "lamps.line"\ncount = 0',
        "55: attach.string.count: must be a whole number from 1 to 0x10000, not 0",
    ),
    added(
        "A string's count is a number.",
        '[attach.string]\nkind = "lamp_string"\npin = "lamps.line"\ncount = "8"',
        "55: attach.string.count: must be a whole number from 1 to 0x10000, not '8'",
    ),
    added(
        "A string has three or four channels.",
        STRING + "channels = 5",
        "56: attach.string.channels: must be a whole number from 3 to 4, not 5",
    ),
    added(
        "An order holds each channel once.",
        STRING + 'order = "GRR"',
        ("52: attach.string: order must contain each of the letters RGB once, not 'GRR'"),
    ),
    added(
        "An order is a text.",
        STRING + "order = 3",
        "56: attach.string.order: must be a string, not 3",
    ),
    added(
        "An order of four channels needs four channels.",
        STRING + 'order = "GRBW"',
        ("52: attach.string: order must contain each of the letters RGB once, not 'GRBW'"),
    ),
    added(
        "A string's profile must exist.",
        STRING + 'profile = "P9"',
        "52: attach.string: profile must be P1, P2, P3, P4 or P5, not 'P9'",
    ),
    added(
        "A string's profile is a text.",
        STRING + "profile = 1",
        "56: attach.string.profile: must be a string, not 1",
    ),
    added(
        "A string's channels are those of its profile.",
        STRING + 'profile = "P1"\nchannels = 4',
        "52: attach.string: channels must be 3 for profile P1, not 4",
    ),
    added(
        "A channel's current is a current.",
        STRING + 'channel_current = "2 V"',
        "56: attach.string.channel_current: must be a number with A, mA or uA, not '2 V'",
    ),
    added(
        "A channel's current is above 0.",
        STRING + 'channel_current = "0 mA"',
        ("56: attach.string.channel_current: must be above 0 and at most 1,000,000 A, not '0 mA'"),
    ),
    added(
        "Light is linear or as on a screen.",
        STRING + 'light = "gamma"',
        "56: attach.string.light: must be one of linear, srgb, not 'gamma'",
    ),
    other_key(
        "A supply is a current.",
        'supply = "2 V"',
        "supply: must be a number with A, mA or uA, not '2 V'",
    ),
    other_key(
        "A supply is a text.",
        "supply = 2",
        "supply: must be a number with A, mA or uA, not 2",
    ),
    other_key(
        "Firmware is a text.",
        "firmware = 2",
        "firmware: must be a string such as 'cabin.elf', not 2",
    ),
    other_key(
        "Firmware must exist.",
        'firmware = "cabin.elf"',
        "firmware: there is no file 'cabin.elf'",
    ),
    Spoiled(
        "Firmware is a file, not a folder.",
        "busbox: bench.toml:4: firmware: must be a file, not the folder 'cabin.elf'\n",
        (("hang_after = 1000\n", 'hang_after = 1000\nfirmware = "cabin.elf"\n'),),
        {
            "cabin.elf": None,
        },
    ),
    added(
        "A profile is a table.",
        "[profile]\nOWN = 3",
        "53: profile.OWN: must be a table, [profile.NAME], not 3",
    ),
    added(
        "Profiles are tables.",
        '[[profile]]\ngap = "50 us"',
        "52: profile: must be tables, [profile.NAME], not [a table]",
    ),
    added(
        "A profile has a name of its own.",
        (
            "[profile.P4]\n"
            'zero_high = ["250 ns", "550 ns"]\n'
            'one_high = ["650 ns", "950 ns"]\n'
            'zero_low = ["700 ns", "1000 ns"]\n'
            'one_low = ["300 ns", "600 ns"]\n'
            'gap = "50 us"'
        ),
        ("52: profile.P4: the name 'P4' is taken by a built-in profile; choose another"),
    ),
    added(
        "A profile has every window.",
        '[profile.OWN]\nzero_high = ["250 ns", "550 ns"]',
        "52: profile.OWN: one_high, zero_low, one_low and gap must be given",
    ),
    added(
        "A key of a profile must be known.",
        PROFILE + 'two_high = ["1 us"]',
        (
            "58: profile.OWN.two_high: is not a key of a profile; did you mean "
            "'one_high'? (known: zero_high, one_high, zero_low, one_low, gap, order, "
            "source or channel_current)"
        ),
    ),
    added(
        "A window is a list.",
        PROFILE.replace('one_high = ["650 ns", "950 ns"]', 'one_high = "650 ns"'),
        (
            "54: profile.OWN.one_high: must be a list of the shortest and the longest time, or "
            "of the shortest alone, not '650 ns'"
        ),
    ),
    added(
        "A window has two ends at most.",
        (
            "[profile.OWN]\n"
            'zero_high = ["250 ns", "550 ns"]\n'
            'one_high = ["650 ns", "950 ns", "1 us"]\n'
            'zero_low = ["700 ns", "1000 ns"]\n'
            'one_low = ["300 ns", "600 ns"]\n'
            'gap = "50 us"'
        ),
        (
            "54: profile.OWN.one_high: must be a list of the shortest and the longest time, or "
            "of the shortest alone, not ['650 ns', '950 ns', '1 us']"
        ),
    ),
    added(
        "A window's ends are not cycles.",
        PROFILE.replace('one_high = ["650 ns", "950 ns"]', "one_high = [11, 15]"),
        "54: profile.OWN.one_high: must be a time with a unit such as ns or us, not 11",
    ),
    added(
        "A window's longest time is not below its shortest.",
        (
            "[profile.OWN]\n"
            'zero_high = ["250 ns", "550 ns"]\n'
            'one_high = ["950 ns", "650 ns"]\n'
            'zero_low = ["700 ns", "1000 ns"]\n'
            'one_low = ["300 ns", "600 ns"]\n'
            'gap = "50 us"'
        ),
        (
            "54: profile.OWN.one_high: the longest time must be at least the shortest, 950 ns, "
            "not 650 ns"
        ),
    ),
    added(
        "A window's shortest time is above 0.",
        (
            "[profile.OWN]\n"
            'zero_high = ["250 ns", "550 ns"]\n'
            'one_high = ["0 ns", "650 ns"]\n'
            'zero_low = ["700 ns", "1000 ns"]\n'
            'one_low = ["300 ns", "600 ns"]\n'
            'gap = "50 us"'
        ),
        "54: profile.OWN.one_high: the shortest time must be above 0 ns, not 0 ns",
    ),
    added(
        "The high of a zero ends.",
        PROFILE.replace('zero_high = ["250 ns", "550 ns"]', 'zero_high = ["250 ns"]'),
        "53: profile.OWN.zero_high: must have a longest time: a longer high is a one",
    ),
    added(
        "The high of a one begins after that of a zero.",
        (
            "[profile.OWN]\n"
            'zero_high = ["250 ns", "550 ns"]\n'
            'one_high = ["550 ns", "950 ns"]\n'
            'zero_low = ["700 ns", "1000 ns"]\n'
            'one_low = ["300 ns", "600 ns"]\n'
            'gap = "50 us"'
        ),
        (
            "54: profile.OWN.one_high: must begin after the longest high of a zero, 550 ns, "
            "not at 550 ns"
        ),
    ),
    added(
        "A low ends before the gap.",
        (
            "[profile.OWN]\n"
            'zero_high = ["250 ns", "550 ns"]\n'
            'one_high = ["650 ns", "950 ns"]\n'
            'zero_low = ["700 ns", "60 us"]\n'
            'one_low = ["50 us"]\n'
            'gap = "50 us"'
        ),
        (
            "55: profile.OWN.zero_low: must end before the latch gap, 50 us, not at 60 us\n"
            "56: profile.OWN.one_low: must end before the latch gap, 50 us, not at 50 us"
        ),
    ),
    added(
        "A profile's order holds each channel once.",
        PROFILE + 'order = "RRB"',
        (
            "58: profile.OWN.order: must contain each of the letters RGB or each of RGBW "
            "once, not 'RRB'"
        ),
    ),
    added(
        "A profile's source is a text.",
        PROFILE + "source = 7",
        "58: profile.OWN.source: must be a string, not 7",
    ),
    added(
        "A profile's current is a current.",
        PROFILE + 'channel_current = "16 mV"',
        "58: profile.OWN.channel_current: must be a number with A, mA or uA, not '16 mV'",
    ),
    added(
        "A string's channels are those of its own profile.",
        PROFILE
        + (
            "[attach.string]\n"
            'kind = "lamp_string"\n'
            'pin = "lamps.line"\n'
            "count = 8\n"
            'profile = "OWN"\n'
            "channels = 4"
        ),
        "58: attach.string: channels must be 3 for profile OWN, not 4",
    ),
    added(
        "A capture and a level do not meet in a cycle.",
        '[[input]]\nat = "2 us"\npin = "levers.in.4"\ncapture = "line.csv"\n',
        "53: input.1.at: levers.in.4 already gets a level in cycle 32; move one of them",
        CAPTURE,
    ),
    added(
        "A profile's name is a name.",
        PROFILE.replace("OWN", '"my own"'),
        (
            "52: profile.my own: a profile name may contain only letters, digits and _, and "
            "must not start with a digit; got 'my own'"
        ),
    ),
    other_input(
        "A capture must exist.",
        'capture = "line.csv"',
        "bench.toml:50: input.0.capture: there is no file 'line.csv'",
    ),
    other_input(
        "A capture's name is a text.",
        "capture = 3",
        "bench.toml:50: input.0.capture: must be a string such as 'line.csv', not 3",
    ),
    other_input(
        "A capture is a CSV or VCD file.",
        'capture = "line.txt"',
        "bench.toml:50: input.0.capture: a capture must end in .csv or .vcd, not 'line.txt'",
        {"line.txt": "x\n"},
    ),
    other_input(
        "A capture has a header.",
        'capture = "line.csv"',
        (
            "line.csv:1: the first column must be time_s, time_ms, time_us, time_ns or sample, "
            "not 'evening'"
        ),
        {"line.csv": "evening\n"},
    ),
    other_input(
        "A capture's level is 0 or 1.",
        'capture = "line.csv"',
        "line.csv:3: tx must be 0 or 1, not '3'",
        {"line.csv": "time_us,tx\n0,1\n5,3\n"},
    ),
    other_input(
        "Of several lines of a capture one is named.",
        'capture = "line.csv"',
        "bench.toml:47: input.0.line: must be given, since the capture has several: tx or rx",
        TWO_LINES,
    ),
    other_input(
        "The line of a capture must exist.",
        'capture = "line.csv"\nline = "ty"',
        "bench.toml:51: input.0.line: must be tx or rx, not 'ty'",
        TWO_LINES,
    ),
    other_input(
        "The line of a capture is a text.",
        'capture = "line.csv"\nline = 1',
        "bench.toml:51: input.0.line: must be a string such as 'tx', not 1",
        CAPTURE,
    ),
    other_input(
        "Two edges of a capture do not fall into one cycle.",
        'capture = "line.csv"',
        (
            "bench.toml:50: input.0.capture: the clock must be faster: two edges of tx fall "
            "into cycle 34 (the second is 1e-07 s into the capture)"
        ),
        {"line.csv": "time_ns,tx\n0,1\n70,0\n100,1\n500,0\n"},
    ),
    other_input(
        "Samples need a clock.",
        'capture = "line.csv"',
        ("line.csv:1: a sample clock must be given: the times are sample numbers"),
        {"line.csv": "sample,tx\n0,1\n5,0\n"},
    ),
    other_input(
        "Times need no clock of samples.",
        'capture = "line.csv"\nsample_clock = "1 MHz"',
        ("line.csv:1: a sample clock is not allowed here: the file already contains times"),
        CAPTURE,
    ),
    other_input(
        "A sample clock is a clock.",
        'capture = "line.csv"\nsample_clock = "1 us"',
        (
            "bench.toml:51: input.0.sample_clock: must be a number with Hz, kHz, MHz or GHz, "
            "not '1 us'"
        ),
        {"line.csv": "sample,tx\n0,1\n5,0\n"},
    ),
    other_input(
        "A level has no line.",
        'level = 1\nline = "tx"',
        "bench.toml:51: input.0.line: is only allowed together with capture",
    ),
    other_input(
        "A level has no sample clock.",
        'level = 1\nsample_clock = "1 MHz"',
        "bench.toml:51: input.0.sample_clock: is only allowed together with capture",
    ),
    other_input(
        "A capture has no rate.",
        'capture = "line.csv"\nrate = 9600',
        "bench.toml:51: input.0.rate: is only allowed together with bytes",
        CAPTURE,
    ),
    other_input(
        "An input has not both level and capture.",
        'level = 1\ncapture = "line.csv"',
        "bench.toml:47: input.0: must have one of level, bytes or capture",
        CAPTURE,
    ),
    other_input(
        "A capture whose level is never known drives nothing.",
        'capture = "line.vcd"',
        ("bench.toml:50: input.0.capture: must have a level of 0 or 1; that of tx is never known"),
        {
            "line.vcd": "$timescale 1 ns $end\n$var wire 1 ! tx $end\n"
            "$enddefinitions $end\n#0\nx!\n#100\n"
        },
    ),
    Spoiled(
        "A capture and a switch do not drive one pin.",
        "busbox: bench.toml:54: attach.lever.pin: levers.in.4 is driven by input.0 already\n",
        (
            ("level = 1", 'capture = "line.csv"'),
            ("[[reset]]", '[attach.lever]\nkind = "switch"\npin = "levers.in.4"\n\n[[reset]]'),
        ),
        files={"line.csv": "time_us,tx\n0,1\n5,0\n"},
    ),
    added(
        "A kind is a class.",
        '[attach.gong]\nkind = "gong.py:HEAD"\npin = "levers.out.0"',
        (
            "53: attach.gong.kind: 'gong.py:HEAD' must be a subclass of Decoder or Driver "
            "(busbox.board.attachment), not 3"
        ),
        {"gong.py": "HEAD = 3\n"},
    ),
    gong(
        "A kind's class must be in its file.",
        '[attach.gong]\nkind = "gong.py:Gnog"\npin = "levers.out.0"',
        "53: attach.gong.kind: there is no class 'Gnog' in gong.py; did you mean 'Gong'?",
        "    pass\n",
    ),
    added(
        "A kind's file must load.",
        GONG,
        (
            "53: attach.gong.kind: gong.py:1: does not load: ModuleNotFoundError: No module "
            "named 'no_such_gong'"
        ),
        {"gong.py": "import no_such_gong\n"},
    ),
    gong(
        "A kind's setting has not the name of a key.",
        GONG,
        "53: attach.gong.kind: its setting 'pin' has the name of a key of [attach.NAME]",
        '    settings = (Setting("pin"),)\n',
    ),
    gong(
        "A kind that raises when it is built is told.",
        GONG,
        "53: attach.gong.kind: it raised RuntimeError: cracked",
        '    def __init__(self, board):\n        raise RuntimeError("cracked")\n',
    ),
    gong(
        "A kind may refuse its settings.",
        GONG,
        "52: attach.gong: must be hung up",
        '    def __init__(self, board):\n        raise ValueError("must be hung up")\n',
    ),
    gong(
        "A kind whose check raises is told.",
        GONG,
        "53: attach.gong.kind: its check raised RuntimeError: cracked",
        '    @classmethod\n    def check(cls, settings):\n        raise RuntimeError("cracked")\n',
    ),
    gong(
        "A kind that does not take a board is told.",
        GONG,
        (
            "53: attach.gong.kind: it raised TypeError: Gong.__init__() takes 1 positional "
            "argument but 2 were given"
        ),
        "    def __init__(self):\n        pass\n",
    ),
    gong(
        "A decoder that raises is told.",
        GONG,
        "attach.gong: gong.py:Gong raised RuntimeError: cracked",
        '    def decode(self, wave):\n        raise RuntimeError("cracked")\n',
    ),
    gong(
        "A decoder may refuse its line.",
        GONG,
        "attach.gong: must be struck",
        '    def decode(self, wave):\n        raise ValueError("must be struck")\n',
    ),
    gong(
        "A decoder that does not decode is told.",
        GONG,
        "attach.gong: gong.py:Gong raised NotImplementedError",
        "    pass\n",
    ),
    gong(
        "A decoder gives a report.",
        GONG,
        "attach.gong: decode must return a LineReport, not None",
        "    def decode(self, wave):\n        return None\n",
    ),
    gong(
        "A decoder's rule must exist.",
        GONG,
        (
            "attach.gong: gong.py:Gong names an unknown rule, 'gong-cracked'; name an "
            "existing rule, or declare it in its rules"
        ),
        "    def decode(self, wave):\n"
        '        return LineReport(findings=[LineFinding("gong-cracked", 0, lambda: ("", ""))])\n',
    ),
    gong(
        "A decoder whose finding cannot be described is told.",
        GONG,
        "attach.gong: gong.py:Gong raised ZeroDivisionError: division by zero",
        "    def decode(self, wave):\n"
        '        return LineReport(findings=[LineFinding("framing", 0, lambda: 1 / 0)])\n',
    ),
    gong(
        "A decoder's facts are JSON.",
        GONG,
        (
            "attach.gong: facts must be values that JSON can hold: TypeError: Object of "
            "type Wave is not JSON serializable"
        ),
        '    def decode(self, wave):\n        return LineReport(facts={"wave": wave})\n',
    ),
    gong(
        "A decoder's findings are findings.",
        GONG,
        "attach.gong: findings must be LineFinding objects, not 'cracked'",
        '    def decode(self, wave):\n        return LineReport(findings=["cracked"])\n',
    ),
    gong(
        "A decoder's finding names its rule by a text.",
        GONG,
        ("attach.gong: a finding must name its rule by a string, not ['framing']"),
        "    def decode(self, wave):\n"
        '        return LineReport(findings=[LineFinding(["framing"], 0, lambda: ("", ""))])\n',
    ),
    gong(
        "A decoder's rows are pairs.",
        GONG,
        ("attach.gong: rows must be pairs of strings, not 'loud'"),
        '    def decode(self, wave):\n        return LineReport(rows=["loud"])\n',
    ),
    gong(
        "A driver's level is 0 or 1.",
        BELLOWS,
        "52: attach.gong: its drive must give levels of 0 or 1, not 2",
        "    def drive(self):\n        yield 0, 2\n",
        "Driver",
    ),
    gong(
        "A driver's cycles increase.",
        BELLOWS,
        "52: attach.gong: its drive must give cycles that increase from 0 on, not 4",
        "    def drive(self):\n        yield 5, 1\n        yield 4, 0\n",
        "Driver",
    ),
    gong(
        "A driver's cycles do not repeat.",
        BELLOWS,
        "52: attach.gong: its drive must give cycles that increase from 0 on, not 5",
        "    def drive(self):\n        yield 5, 1\n        yield 5, 0\n",
        "Driver",
    ),
    gong(
        "A driver's cycles begin at 0.",
        BELLOWS,
        "52: attach.gong: its drive must give cycles that increase from 0 on, not -1",
        "    def drive(self):\n        yield -1, 1\n",
        "Driver",
    ),
    gong(
        "A driver's cycles are whole.",
        BELLOWS,
        "52: attach.gong: its drive must give cycles that increase from 0 on, not 1.5",
        "    def drive(self):\n        yield 1.5, 1\n",
        "Driver",
    ),
    gong(
        "A driver that raises is told.",
        BELLOWS,
        "52: attach.gong: its drive raised RuntimeError: cracked",
        '    def drive(self):\n        yield 0, 1\n        raise RuntimeError("cracked")\n',
        "Driver",
    ),
    gong(
        "A driver gives pairs.",
        BELLOWS,
        "52: attach.gong: its drive raised TypeError: cannot unpack non-iterable int object",
        "    def drive(self):\n        yield 5\n",
        "Driver",
    ),
    gong(
        "A driver that gives nothing to iterate is told.",
        BELLOWS,
        "52: attach.gong: its drive raised TypeError: 'NoneType' object is not iterable",
        "    def drive(self):\n        return None\n",
        "Driver",
    ),
    gong(
        "A driver that does not drive is told.",
        BELLOWS,
        "52: attach.gong: its drive raised NotImplementedError",
        "    pass\n",
        "Driver",
    ),
    gong(
        "A driver's level is no text.",
        BELLOWS,
        "52: attach.gong: its drive must give levels of 0 or 1, not '1'",
        '    def drive(self):\n        yield 0, "1"\n',
        "Driver",
    ),
    added(
        "A text is of an attachment that gives one.",
        LAMP + '\n[[expect]]\ntext = { of = "lamp", is = "" }',
        ("57: expect.0.text.of: must be a slot or an attachment that has text, not 'lamp'"),
    ),
    added(
        "Frames are of an attachment that gives them.",
        PAPER + '\n[[expect]]\nframes = { of = "paper", at_least = 1 }',
        ("57: expect.0.frames.of: must be a slot or an attachment that has frames, not 'paper'"),
    ),
    added(
        "Colours are of an attachment that gives them.",
        PAPER + '\n[[expect]]\ncolours = { of = "paper", are = [] }',
        ("57: expect.0.colours.of: must be a slot or an attachment that has frames, not 'paper'"),
    ),
    added(
        "An attachment in an expectation exists.",
        PAPER + '\n[[expect]]\ntext = { of = "papper", is = "" }',
        (
            "57: expect.0.text.of: must be a slot or an attachment that has text, not "
            "'papper'; did you mean 'paper'?"
        ),
    ),
    added(
        "An expectation of a broken attachment is not told again.",
        PAPER + 'baud = 0\n\n[[expect]]\ntext = { of = "paper", is = "" }',
        "55: attach.paper.baud: must be a number from 1 to 1e+12, not 0",
    ),
    added(
        "A level is of a pin, not of an attachment.",
        LAMP + '\n[[expect]]\nlevel = { pin = "lamp", is = 1 }',
        "57: expect.0.level.pin: must be a pin, not 'lamp'; did you mean 'lamps.line'?",
    ),
    added(
        "All mistakes of attachments are told at once.",
        LAMP
        + (
            "on = 2\n"
            "\n"
            "[attach.paper]\n"
            'kind = "terminal"\n'
            'pin = "telegraph.tx"\n'
            "baud = 0\n"
            "\n"
            "[attach.string]\n"
            'kind = "lamp_string"\n'
            'pin = "lamps.line"\n'
            "count = 0"
        ),
        (
            "55: attach.lamp.on: must be a whole number from 0 to 1, not 2\n"
            "60: attach.paper.baud: must be a number from 1 to 1e+12, not 0\n"
            "65: attach.string.count: must be a whole number from 1 to 0x10000, not 0"
        ),
    ),
    added(
        "A terminal's rate leaves a clock for each bit of a line that moves.",
        PAPER + "baud = 32_000_000",
        "attach.paper: baud must be at most 16000000, one tick a bit, not 32000000",
        {"day.steps": "write telegraph.DATA 0x41\n"},
        "",
    ),
    added(
        "A long time is refused for a turn.",
        LEVER + 'turns = ["2_000_000 s"]',
        (
            "55: attach.lever.turns: must be at most 1,000,000 s or 1,000,000,000,000,000,000 "
            "cycles, not '2_000_000 s'"
        ),
    ),
    Spoiled(
        "A setting changed on the command line is told there.",
        "busbox: --set: attach.lamp.on: must be a whole number from 0 to 1, not 3\n",
        (("[[reset]]", LAMP + "\n[[reset]]"),),
        args=("run", "bench.toml", "--set", "attach.lamp.on=3"),
    ),
    Spoiled(
        "Other verbs tell what is wrong with attachments too.",
        "busbox: bench.toml:55: attach.lamp.on: must be a whole number from 0 to 1, not 2\n",
        (("[[reset]]", LAMP + "on = 2\n\n[[reset]]"),),
        args=("map", "bench.toml"),
    ),
    added(
        "Two mistakes of one attachment are both told.",
        LEVER + 'level = 2\nbounce = "soft"',
        (
            "55: attach.lever.level: must be a whole number from 0 to 1, not 2\n"
            "56: attach.lever.bounce: must be a number with s, ms, us, ns or ps, or whole "
            "cycles, not 'soft'"
        ),
    ),
    added(
        "Two turns are not in one cycle.",
        LEVER + "turns = [40, 41, 41]",
        (
            "52: attach.lever: turns must come in order, each after the bouncing of the one "
            "before (until cycle 41), not in cycle 41"
        ),
    ),
    Spoiled(
        "Firmware must be an ELF file, once a finding asks for its source.",
        (
            "busbox: cabin.elf: must be an ELF file, which begins with the bytes 7f 45 4c 46, "
            "not with 6e 6f 20 45\n"
        ),
        (
            ("hang_after = 1000\n", 'hang_after = 1000\nfirmware = "cabin.elf"\n'),
            ("day.steps", "day.csv"),
        ),
        {
            "cabin.elf": "no ELF\n",
            "day.csv": "wait,op,address,data,lanes,pc\n0,write,0x50000000,0x1,1111,0x100\n",
        },
    ),
    added(
        "A text is of an attachment, and a frame of it is none.",
        STRING + '\n[[expect]]\ntext = { of = "string", is = "" }',
        ("58: expect.0.text.of: must be a slot or an attachment that has text, not 'string'"),
    ),
)


#: What is found when the run is over.
JUDGED = {
    "A decoder that raises is told.", "A decoder may refuse its line.",
    "A decoder that does not decode is told.", "A decoder gives a report.",
    "A decoder's rule must exist.", "A decoder whose finding cannot be described is told.",
    "A decoder's facts are JSON.", "A decoder's findings are findings.",
    "A decoder's finding names its rule by a text.", "A decoder's rows are pairs.",
    "A terminal's rate leaves a clock for each bit of a line that moves.",
}  # fmt: skip


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The sentence of the row; one message a mistake, exit code 2, and no file left behind.

    What fails once the run is over does not keep its summary from standard output.
    """
    assert_told(spoiled, tmp_path, monkeypatch, capsys, spoiled.says in JUDGED)
