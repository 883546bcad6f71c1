"""Keys of a bench that are missing, misspelt, of the wrong type or out of range."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

pytestmark = pytest.mark.quick

CASES = (
    Spoiled(
        "A bench must have a clock.",
        "busbox: bench.toml: clock: must be given, such as '16 MHz'\n",
        edits=(('clock = "16 MHz"\n', ""),),
    ),
    Spoiled(
        "A clock must have a unit.",
        "busbox: bench.toml:1: clock: must be a number with Hz, kHz, MHz or GHz, not 16\n",
        edits=(('clock = "16 MHz"', "clock = 16"),),
    ),
    Spoiled(
        "A clock's unit must be one of four.",
        ("busbox: bench.toml:1: clock: must be a number with Hz, kHz, MHz or GHz, not '16 mhz'\n"),
        edits=(('"16 MHz"', '"16 mhz"'),),
    ),
    Spoiled(
        "A clock must be a whole number of hertz.",
        ("busbox: bench.toml:1: clock: must be a positive whole number of hertz, not '1.5 Hz'\n"),
        edits=(('"16 MHz"', '"1.5 Hz"'),),
    ),
    Spoiled(
        "A clock of zero is none.",
        ("busbox: bench.toml:1: clock: must be a positive whole number of hertz, not '0 MHz'\n"),
        edits=(('"16 MHz"', '"0 MHz"'),),
    ),
    Spoiled(
        "A clock must not be faster than anything there is.",
        "busbox: bench.toml:1: clock: must be at most 1000 GHz, not '99999 GHz'\n",
        edits=(('"16 MHz"', '"99999 GHz"'),),
    ),
    Spoiled(
        "A time must have a known unit.",
        (
            "busbox: bench.toml:2: settle: must be a number with s, ms, us, ns or ps, or "
            "whole cycles, not '1 minute'\n"
        ),
        edits=(('"1 ms"', '"1 minute"'),),
    ),
    Spoiled(
        "A time must not be negative.",
        ("busbox: bench.toml:2: settle: must be at least 0, not -5\n"),
        edits=(('settle = "1 ms"', "settle = -5"),),
    ),
    Spoiled(
        "A whole number of cycles is not a float.",
        (
            "busbox: bench.toml:2: settle: must be a number with s, ms, us, ns or ps, or "
            "whole cycles, not 1.0\n"
        ),
        edits=(('settle = "1 ms"', "settle = 1.0"),),
    ),
    Spoiled(
        "Time to settle must be at least a cycle.",
        "busbox: bench.toml:2: settle: must be at least one cycle, not 0\n",
        edits=(('settle = "1 ms"', "settle = 0"),),
    ),
    Spoiled(
        "A time must be short enough to count.",
        (
            "busbox: bench.toml:2: settle: must be at most 1,000,000 s or "
            "1,000,000,000,000,000,000 cycles, not '99999999 s'\n"
        ),
        edits=(('settle = "1 ms"', 'settle = "99999999 s"'),),
    ),
    Spoiled(
        "`true` is not a number of cycles.",
        (
            "busbox: bench.toml:3: hang_after: must be a number with s, ms, us, ns or ps, "
            "or whole cycles, not true\n"
        ),
        edits=(("hang_after = 1000", "hang_after = true"),),
    ),
    Spoiled(
        "An access that hangs is given at least a cycle.",
        "busbox: bench.toml:3: hang_after: must be at least one cycle, not 0\n",
        edits=(("hang_after = 1000", "hang_after = 0"),),
    ),
    Spoiled(
        "What follows a reset is one of two.",
        (
            "busbox: bench.toml:4: after_reset: must be 'restart' or 'continue', not "
            "'restrat'; did you mean 'restart'?\n"
        ),
        edits=(('"restart"', '"restrat"'),),
    ),
    Spoiled(
        "What follows a reset is a text.",
        "busbox: bench.toml:4: after_reset: must be 'restart' or 'continue', not 1\n",
        edits=(('"restart"', "1"),),
    ),
    Spoiled(
        "A key at the top must be known.",
        (
            "busbox: bench.toml:2: setle: unknown key 'setle'; did you mean 'settle'? "
            "(known: KEYS)\n"
        ),
        edits=(("settle =", "setle ="),),
    ),
    Spoiled(
        "The fabric must be a table.",
        "busbox: bench.toml:6: fabric: must be a table, [fabric], not 3\n",
        edits=(
            (
                ('[fabric]\nunanswered = "error"\nwatchdog = 64\nregistered_decode = false\n'),
                "fabric = 3\n",
            ),
        ),
    ),
    Spoiled(
        "What ends an unmapped access is one of two.",
        (
            "busbox: bench.toml:7: fabric.unanswered: must be 'error' or 'silence', not "
            "'silent'; did you mean 'silence'?\n"
        ),
        edits=(('unanswered = "error"', 'unanswered = "silent"'),),
    ),
    Spoiled(
        "What ends an unmapped access is a text.",
        "busbox: bench.toml:7: fabric.unanswered: must be 'error' or 'silence', not false\n",
        edits=(('unanswered = "error"', "unanswered = false"),),
    ),
    Spoiled(
        "A watchdog waits for at least a cycle.",
        (
            "busbox: bench.toml:8: fabric.watchdog: must be a whole number of cycles from "
            "1 to 1099511627776, not 0\n"
        ),
        edits=(("watchdog = 64", "watchdog = 0"),),
    ),
    Spoiled(
        "A watchdog's wait is a whole number.",
        (
            "busbox: bench.toml:8: fabric.watchdog: must be a whole number of cycles from "
            "1 to 1099511627776, not 64.0\n"
        ),
        edits=(("watchdog = 64", "watchdog = 64.0"),),
    ),
    Spoiled(
        "A watchdog's wait must be below 2^40.",
        (
            "busbox: bench.toml:8: fabric.watchdog: must be a whole number of cycles from "
            "1 to 1099511627776, not 17592186044416\n"
        ),
        edits=(("watchdog = 64", "watchdog = 0x1000_0000_0000"),),
    ),
    Spoiled(
        "A registered decoder is there or not; 1 is no answer.",
        "busbox: bench.toml:9: fabric.registered_decode: must be true or false, not 1\n",
        edits=(("registered_decode = false", "registered_decode = 1"),),
    ),
    Spoiled(
        "A key of the fabric must be known.",
        (
            "busbox: bench.toml:8: fabric.watch_dog: unknown key 'watch_dog'; did you mean "
            "'watchdog'? (known: unanswered, watchdog or registered_decode)\n"
        ),
        edits=(("watchdog =", "watch_dog ="),),
    ),
    Spoiled(
        "A slot must have a model.",
        "busbox: bench.toml:11: slot.levers.model: must be given, such as 'gpio'\n",
        edits=(('[slot.levers]\nmodel = "gpio"', "[slot.levers]"),),
    ),
    Spoiled(
        "A model must exist.",
        (
            "busbox: bench.toml:12: slot.levers.model: there is no model 'gpoi'; did you "
            "mean 'gpio'? (known: gpio, uart, pulse_led, timer, memory or file.py:Class)\n"
        ),
        edits=(('"gpio"', '"gpoi"'),),
    ),
    Spoiled(
        "A model is a text.",
        "busbox: bench.toml:12: slot.levers.model: must be a string such as 'gpio', not 7\n",
        edits=(('"gpio"', "7"),),
    ),
    Spoiled(
        "A slot must have a base.",
        "busbox: bench.toml:25: slot.lamps.base: must be given, such as 0x4000_0000\n",
        edits=(("base = 0x4400_0000\n", ""),),
    ),
    Spoiled(
        "A base must not be in quotes.",
        (
            "busbox: bench.toml:27: slot.lamps.base: must be a whole number from 0 to "
            "0xffffffff, not '0x4400_0000'\n"
        ),
        edits=(("base = 0x4400_0000", 'base = "0x4400_0000"'),),
    ),
    Spoiled(
        "A base must not be negative.",
        (
            "busbox: bench.toml:27: slot.lamps.base: must be a whole number from 0 to "
            "0xffffffff, not -0x1000\n"
        ),
        edits=(("base = 0x4400_0000", "base = -4096"),),
    ),
    Spoiled(
        "A base must be an address of 32 bits.",
        (
            "busbox: bench.toml:27: slot.lamps.base: must be a whole number from 0 to "
            "0xffffffff, not 0x100000000\n"
        ),
        edits=(("base = 0x4400_0000", "base = 0x1_0000_0000"),),
    ),
    Spoiled(
        "A base is a whole number, `true` is none.",
        (
            "busbox: bench.toml:27: slot.lamps.base: must be a whole number from 0 to "
            "0xffffffff, not true\n"
        ),
        edits=(("base = 0x4400_0000", "base = true"),),
    ),
    Spoiled(
        "A base must be a multiple of 4.",
        "busbox: bench.toml:39: slot.book.base: must be a multiple of 4, not 0x20000002\n",
        edits=(("base = 0x2000_0000", "base = 0x2000_0002"),),
    ),
    Spoiled(
        "A base must be a multiple of the size, unless a range is decoded.",
        (
            "busbox: bench.toml:19: slot.telegraph.base: must be a multiple of the size "
            '0x1000, not 0x40001100 (any base: decode = "range")\n'
        ),
        edits=(("base = 0x4000_1000", "base = 0x4000_1100"),),
    ),
    Spoiled(
        "A slot must end below 2^32.",
        (
            "busbox: bench.toml:39: slot.book.base: must leave room for 0x100 bytes below "
            "2^32, not 0xfffffffc\n"
        ),
        edits=(("base = 0x2000_0000\nsize = 0x100", "base = 0xffff_fffc\nsize = 0x100"),),
    ),
    Spoiled(
        "A slot must have a size.",
        "busbox: bench.toml:37: slot.book.size: must be given, such as 0x1000\n",
        edits=(("size = 0x100\n", ""),),
    ),
    Spoiled(
        "A size must hold a word.",
        (
            "busbox: bench.toml:40: slot.book.size: must be a whole number from 4 to "
            "0x100000000, not 0x0\n"
        ),
        edits=(("size = 0x100\n", "size = 0\n"),),
    ),
    Spoiled(
        "A size is a whole number.",
        (
            "busbox: bench.toml:40: slot.book.size: must be a whole number from 4 to "
            "0x100000000, not 256.0\n"
        ),
        edits=(("size = 0x100\n", "size = 256.0\n"),),
    ),
    Spoiled(
        "A size must be a multiple of 4.",
        "busbox: bench.toml:40: slot.book.size: must be a multiple of 4, not 0x102\n",
        edits=(("size = 0x100\n", "size = 0x102\n"),),
    ),
    Spoiled(
        "A size must be a power of two, unless a range is decoded.",
        (
            "busbox: bench.toml:14: slot.levers.size: must be a power of two, not 0xc00 "
            '(any size: decode = "range")\n'
        ),
        edits=(("base = 0x4000_0000\nsize = 0x1000", "base = 0x4000_0000\nsize = 0xc00"),),
    ),
    Spoiled(
        "A slot must hold its model's registers.",
        (
            "busbox: bench.toml:28: slot.lamps.size: must be at least 0x120, to hold the "
            "model's registers, not 0x100\n"
        ),
        edits=(
            (
                ('base = 0x4400_0000\nsize = 0x1000\ncompare = "31..12"'),
                "base = 0x4400_0000\nsize = 0x100",
            ),
        ),
    ),
    Spoiled(
        "Compared bits are a text.",
        (
            "busbox: bench.toml:29: slot.lamps.compare: must be ranges and bits such as "
            "'31..28, 5', not 31\n"
        ),
        edits=(('compare = "31..12"', "compare = 31"),),
    ),
    Spoiled(
        "Compared bits must be numbers and ranges.",
        (
            "busbox: bench.toml:29: slot.lamps.compare: must be ranges and bits such as "
            "'31..28, 5', not '31-12'\n"
        ),
        edits=(('compare = "31..12"', 'compare = "31-12"'),),
    ),
    Spoiled(
        "Compared bits must be bits of a word's address.",
        (
            "busbox: bench.toml:29: slot.lamps.compare: must name bits from 31 to 2, the "
            "higher one first, not '32..12'\n"
        ),
        edits=(('compare = "31..12"', 'compare = "32..12"'),),
    ),
    Spoiled(
        "A range of bits must name the higher one first.",
        (
            "busbox: bench.toml:29: slot.lamps.compare: must name bits from 31 to 2, the "
            "higher one first, not '12..31'\n"
        ),
        edits=(('compare = "31..12"', 'compare = "12..31"'),),
    ),
    Spoiled(
        "A compared bit must be named once.",
        ("busbox: bench.toml:29: slot.lamps.compare: must name each bit once, not '31..12, 20'\n"),
        edits=(('compare = "31..12"', 'compare = "31..12, 20"'),),
    ),
    Spoiled(
        "Compared bits must lie above the slot.",
        (
            "busbox: bench.toml:29: slot.lamps.compare: must name bits above the slot's "
            "own 0x1000 bytes (31..12), not 11..8\n"
        ),
        edits=(('compare = "31..12"', 'compare = "31..8"'),),
    ),
    Spoiled(
        "Decoding is one of two.",
        (
            "busbox: bench.toml:41: slot.book.decode: must be 'full' or 'range', not "
            "'rang'; did you mean 'range'?\n"
        ),
        edits=(('decode = "range"', 'decode = "rang"'),),
    ),
    Spoiled(
        "Decoding must not be told twice.",
        (
            "busbox: bench.toml:30: slot.lamps.decode: cannot be combined with compare; give "
            "only one of them\n"
        ),
        edits=(('compare = "31..12"', 'compare = "31..12"\ndecode = "full"'),),
    ),
    Spoiled(
        "Wait states must not be negative.",
        (
            "busbox: bench.toml:22: slot.telegraph.wait: must be a whole number from 0 to "
            "65,535, not -1\n"
        ),
        edits=(("wait = 1", "wait = -1"),),
    ),
    Spoiled(
        "`true` wait states are not one.",
        (
            "busbox: bench.toml:22: slot.telegraph.wait: must be a whole number from 0 to "
            "65,535, not true\n"
        ),
        edits=(("wait = 1", "wait = true"),),
    ),
    Spoiled(
        "Wait states must be below 2^16.",
        (
            "busbox: bench.toml:22: slot.telegraph.wait: must be a whole number from 0 to "
            "65,535, not 65536\n"
        ),
        edits=(("wait = 1", "wait = 65536"),),
    ),
    Spoiled(
        "What a slot yields to is a list.",
        (
            "busbox: bench.toml:23: slot.telegraph.yields_to: must be a list of slot names "
            "such as [\"levers\"], not 'lamps'\n"
        ),
        edits=(("yields_to = []", 'yields_to = "lamps"'),),
    ),
    Spoiled(
        "What a slot yields to must be names.",
        ("busbox: bench.toml:23: slot.telegraph.yields_to.1: must be the name of a slot, not 1\n"),
        edits=(("yields_to = []", 'yields_to = ["lamps", 1]'),),
    ),
    Spoiled(
        "What a slot yields to must exist.",
        (
            "busbox: bench.toml:23: slot.telegraph.yields_to: must name other slots, not "
            "'lamp'; did you mean 'lamps'?\n"
        ),
        edits=(("yields_to = []", 'yields_to = ["lamp"]'),),
    ),
    Spoiled(
        "A slot must not yield to itself.",
        (
            "busbox: bench.toml:23: slot.telegraph.yields_to: must name other slots, not "
            "'telegraph' itself\n"
        ),
        edits=(("yields_to = []", 'yields_to = ["telegraph"]'),),
    ),
    Spoiled(
        "A slot must be a table.",
        "busbox: bench.toml:38: slot.book: must be a table, [slot.NAME], not 'memory'\n",
        edits=(
            (
                (
                    "[slot.book]\n"
                    'model = "memory"\n'
                    "base = 0x2000_0000\n"
                    "size = 0x100\n"
                    'decode = "range"\n'
                    'kind = "ram"\n'
                ),
                ('[slot]\nbook = "memory"\n'),
            ),
        ),
    ),
    Spoiled(
        "A slot's name must begin with a letter.",
        (
            "busbox: bench.toml:37: slot.4th: a slot name may contain only letters, digits "
            "and _, and must not start with a digit; got '4th'\n"
        ),
        edits=(("[slot.book]", "[slot.4th]"),),
    ),
    Spoiled(
        "A slot's name must have no blank.",
        (
            "busbox: bench.toml:37: slot.log book: a slot name may contain only letters, "
            "digits and _, and must not start with a digit; got 'log book'\n"
        ),
        edits=(("[slot.book]", '[slot."log book"]'),),
    ),
    Spoiled(
        "A slot's key must be one of its own or of its model.",
        (
            "busbox: bench.toml:21: slot.telegraph.divsor: unknown key 'divsor'; did you "
            "mean 'divisor'? (known: model, base, size, compare, decode, wait, yields_to, as, "
            "divisor or baud)\n"
        ),
        edits=(("divisor = 16", "divsor = 16"),),
    ),
    Spoiled(
        "A setting of another model is unknown.",
        (
            "busbox: bench.toml:21: slot.telegraph.lamps: unknown key 'lamps' (known: "
            "model, base, size, compare, decode, wait, yields_to, as, divisor or baud)\n"
        ),
        edits=(("divisor = 16", "lamps = 16"),),
    ),
    Spoiled(
        "A port has at least one pin.",
        ("busbox: bench.toml:15: slot.levers.width: must be a whole number from 1 to 32, not 0\n"),
        edits=(("width = 8", "width = 0"),),
    ),
    Spoiled(
        "A port has at most 32 pins.",
        ("busbox: bench.toml:15: slot.levers.width: must be a whole number from 1 to 32, not 33\n"),
        edits=(("width = 8", "width = 33"),),
    ),
    Spoiled(
        "A number of pins is not `true`.",
        (
            "busbox: bench.toml:15: slot.levers.width: must be a whole number from 1 to "
            "32, not true\n"
        ),
        edits=(("width = 8", "width = true"),),
    ),
    Spoiled(
        "A number of pins is not a float.",
        (
            "busbox: bench.toml:15: slot.levers.width: must be a whole number from 1 to "
            "32, not 8.0\n"
        ),
        edits=(("width = 8", "width = 8.0"),),
    ),
    Spoiled(
        "A divisor must not be zero.",
        (
            "busbox: bench.toml:21: slot.telegraph.divisor: must be a whole number from 1 "
            "to 65535, not 0\n"
        ),
        edits=(("divisor = 16", "divisor = 0"),),
    ),
    Spoiled(
        "A divisor must fit in its register.",
        (
            "busbox: bench.toml:21: slot.telegraph.divisor: must be a whole number from 1 "
            "to 65535, not 65536\n"
        ),
        edits=(("divisor = 16", "divisor = 0x1_0000"),),
    ),
    Spoiled(
        "A divisor is a number.",
        (
            "busbox: bench.toml:21: slot.telegraph.divisor: must be a whole number from 1 "
            "to 65535, not '16'\n"
        ),
        edits=(("divisor = 16", 'divisor = "16"'),),
    ),
    Spoiled(
        "The number of lamps must be given.",
        "busbox: bench.toml:25: slot.lamps.lamps: must be given: number of lamps supported\n",
        edits=(("lamps = 8\n", ""),),
    ),
    Spoiled(
        "There must be a lamp.",
        (
            "busbox: bench.toml:30: slot.lamps.lamps: must be a whole number from 1 to "
            "16320, not 0\n"
        ),
        edits=(("lamps = 8", "lamps = 0"),),
    ),
    Spoiled(
        "There must not be too many lamps.",
        (
            "busbox: bench.toml:30: slot.lamps.lamps: must be a whole number from 1 to "
            "16320, not 16321\n"
        ),
        edits=(("lamps = 8", "lamps = 16321"),),
    ),
    Spoiled(
        "A number of lamps is not a list.",
        (
            "busbox: bench.toml:30: slot.lamps.lamps: must be a whole number from 1 to "
            "16320, not [8]\n"
        ),
        edits=(("lamps = 8", "lamps = [8]"),),
    ),
    Spoiled(
        "A lamp has four channels at most.",
        ("busbox: bench.toml:31: slot.lamps.channels: must be a whole number from 3 to 4, not 5\n"),
        edits=(("channels = 3", "channels = 5"),),
    ),
    Spoiled(
        "An order of channels must name each once.",
        (
            "busbox: bench.toml:25: slot.lamps: order must contain each of the letters GRB "
            "once, not 'GRG'\n"
        ),
        edits=(('"GRB"', '"GRG"'),),
    ),
    Spoiled(
        "An order of channels is a text.",
        "busbox: bench.toml:32: slot.lamps.order: must be a string, not 123\n",
        edits=(('"GRB"', "123"),),
    ),
    Spoiled(
        "A reset value must fit in a word.",
        (
            "busbox: bench.toml:33: slot.lamps.count: must be a whole number from 0 to "
            "0xffffffff, not 0x100000000\n"
        ),
        edits=(("count = 8", "count = 0x1_0000_0000"),),
    ),
    Spoiled(
        "A reset value must not be negative.",
        (
            "busbox: bench.toml:34: slot.lamps.high: must be a whole number from 0 to "
            "0xffffffff, not -1\n"
        ),
        edits=(("high = 0x000d_0007", "high = -1"),),
    ),
    Spoiled(
        "A reset value is not a date.",
        (
            "busbox: bench.toml:35: slot.lamps.period: must be a whole number from 0 to "
            "0xffffffff, not 1979-05-27\n"
        ),
        edits=(("period = 0x03c0_0014", "period = 1979-05-27"),),
    ),
    Spoiled(
        "A memory is RAM or ROM.",
        (
            "busbox: bench.toml:42: slot.book.kind: must be one of ram, rom, not 'rma'; "
            "did you mean 'rom'?\n"
        ),
        edits=(('kind = "ram"', 'kind = "rma"'),),
    ),
    Spoiled(
        "A kind of memory is a text.",
        "busbox: bench.toml:42: slot.book.kind: must be one of ram, rom, not 1\n",
        edits=(('kind = "ram"', "kind = 1"),),
    ),
    Spoiled(
        "A memory's file must exist.",
        (
            "busbox: bench.toml:42: slot.book.file: there is no file 'day.step'; did you "
            "mean 'day.steps'?\n"
        ),
        edits=(('kind = "ram"', 'file = "day.step"'),),
    ),
    Spoiled(
        "A memory's file must have a name.",
        "busbox: bench.toml:42: slot.book.file: must be the name of a file, not ''\n",
        edits=(('kind = "ram"', 'file = ""'),),
    ),
    Spoiled(
        "A memory's file is a text.",
        "busbox: bench.toml:42: slot.book.file: must be the name of a file, not a table\n",
        edits=(('kind = "ram"', 'file = {name = "day.steps"}'),),
    ),
    Spoiled(
        "There must be traffic.",
        (
            "busbox: bench.toml: traffic: must be given: [traffic] file = 'NAME', or "
            "--traffic FILE\n"
        ),
        edits=((('[traffic]\nfile = "day.steps"\n'), ""),),
    ),
    Spoiled(
        "Traffic must have a file.",
        ("busbox: bench.toml:44: traffic: must have a key file, such as file = 'NAME.steps'\n"),
        edits=(('file = "day.steps"', ""),),
    ),
    Spoiled(
        "A key of the traffic must be known.",
        (
            "busbox: bench.toml:45: traffic.flie: unknown key 'flie'; did you mean 'file'? "
            "(known: file, format, at, idle, patience, signals, harmless, move, covers or source)\n"
        ),
        edits=(('file = "day.steps"', 'flie = "day.steps"'),),
    ),
    Spoiled(
        "A traffic file is a text.",
        "busbox: bench.toml:45: traffic.file: must be a string such as 'NAME.steps', not 1\n",
        edits=(('file = "day.steps"', "file = 1"),),
    ),
    Spoiled(
        "A traffic file must exist.",
        (
            "busbox: bench.toml:45: traffic.file: there is no file 'dya.steps'; did you "
            "mean 'day.steps'?\n"
        ),
        edits=(('file = "day.steps"', 'file = "dya.steps"'),),
    ),
    Spoiled(
        "A base without 0x is asked about.",
        (
            "busbox: bench.toml:13: slot.levers.base: must be a multiple of the size 0x1000, not "
            '0x029f6300 (any base: decode = "range"); 44000000 is decimal: did you mean '
            "0x44000000?\n"
        ),
        edits=(('model = "gpio"\nbase = 0x4000_0000', 'model = "gpio"\nbase = 44000000'),),
    ),
    Spoiled(
        "A traffic file's suffix must be known.",
        (
            "busbox: bench.toml:45: traffic.file: a traffic file must end in .steps, "
            ".csv or .vcd (optionally followed by .gz), or be FILE.py:FUNCTION, "
            "not 'day.txt'; a file with any "
            "other suffix needs file and format in [traffic]\n"
        ),
        edits=(('file = "day.steps"', 'file = "day.txt"'),),
    ),
    Spoiled(
        "A suffix that is nearly right is told the right one.",
        (
            "busbox: bench.toml:45: traffic.file: a traffic file must end in .steps, "
            ".csv or .vcd (optionally followed by .gz), or be FILE.py:FUNCTION, "
            "not 'day.step'; did you mean "
            "'.steps'?\n"
        ),
        edits=(('file = "day.steps"', 'file = "day.step"'),),
    ),
    Spoiled(
        "Traffic is a file or a function.",
        "busbox: bench.toml:44: traffic: must be a table, [traffic], not [a table]\n",
        edits=((('[traffic]\nfile = "day.steps"\n'), ('[[traffic]]\nfile = "day.steps"\n')),),
    ),
    Spoiled(
        "An input must have a time.",
        "busbox: bench.toml:47: input.0.at: must be given, such as '40 us'\n",
        edits=(('at = "2 us"\n', ""),),
    ),
    Spoiled(
        "An input's time must have a known unit.",
        (
            "busbox: bench.toml:48: input.0.at: must be a number with s, ms, us, ns or ps, "
            "or whole cycles, not '2 mus'\n"
        ),
        edits=(('at = "2 us"', 'at = "2 mus"'),),
    ),
    Spoiled(
        "An input must have a pin.",
        "busbox: bench.toml:47: input.0.pin: must be given, such as 'levers.in.4'\n",
        edits=(('pin = "levers.in.4"\n', ""),),
    ),
    Spoiled(
        "An input's pin is a text.",
        "busbox: bench.toml:49: input.0.pin: must be a string such as 'levers.in.4', not 4\n",
        edits=(('pin = "levers.in.4"', "pin = 4"),),
    ),
    Spoiled(
        "An input's slot must exist.",
        ("busbox: bench.toml:49: input.0.pin: there is no slot 'lever'; did you mean 'levers'?\n"),
        edits=(('pin = "levers.in.4"', 'pin = "lever.in.4"'),),
    ),
    Spoiled(
        "An input's pin must exist.",
        ("busbox: bench.toml:49: input.0.pin: levers has no pin 'in.8'; did you mean 'in.7'?\n"),
        edits=(('pin = "levers.in.4"', 'pin = "levers.in.8"'),),
    ),
    Spoiled(
        "An input's pin must not be an output.",
        "busbox: bench.toml:49: input.0.pin: must be an input; levers.out.4 is an output\n",
        edits=(('pin = "levers.in.4"', 'pin = "levers.out.4"'),),
    ),
    Spoiled(
        "A device without inputs takes none.",
        "busbox: bench.toml:49: input.0.pin: lamps has no pin 'data'; it has no inputs\n",
        edits=(('pin = "levers.in.4"', 'pin = "lamps.data"'),),
    ),
    Spoiled(
        "An input must have a level or bytes.",
        "busbox: bench.toml:47: input.0: must have one of level, bytes or capture\n",
        edits=(("level = 1\n", ""),),
    ),
    Spoiled(
        "A level is 0 or 1.",
        "busbox: bench.toml:50: input.0.level: must be 0 or 1, not 2\n",
        edits=(("level = 1", "level = 2"),),
    ),
    Spoiled(
        "A level is not `true`.",
        "busbox: bench.toml:50: input.0.level: must be 0 or 1, not true\n",
        edits=(("level = 1", "level = true"),),
    ),
    Spoiled(
        "A level is not 1.0.",
        "busbox: bench.toml:50: input.0.level: must be 0 or 1, not 1.0\n",
        edits=(("level = 1", "level = 1.0"),),
    ),
    Spoiled(
        "A key of an input must be known.",
        (
            "busbox: bench.toml:51: input.0.levle: unknown key 'levle'; did you mean "
            "'level'? (known: at, pin, level, bytes, capture, line, sample_clock, rate or spacing)\n"
        ),
        edits=(("level = 1", "level = 1\nlevle = 1"),),
    ),
    Spoiled(
        "Inputs are a list of tables.",
        "busbox: bench.toml:47: input: must be a list of tables, [[input]], not a table\n",
        edits=(("[[input]]", "[input]"),),
    ),
    Spoiled(
        "A pin must not have two levels in one cycle.",
        (
            "busbox: bench.toml:53: input.1.at: levers.in.4 already gets a level in cycle "
            "32; choose another cycle\n"
        ),
        edits=(("[[reset]]", ('[[input]]\nat = 32\npin = "levers.in.4"\nlevel = 0\n\n[[reset]]')),),
    ),
    Spoiled(
        "A reset must have a time.",
        "busbox: bench.toml:52: reset.0.at: must be given, such as '40 us'\n",
        edits=(("at = 2000\n", ""),),
    ),
    Spoiled(
        "A reset's time is not a float.",
        (
            "busbox: bench.toml:53: reset.0.at: must be a number with s, ms, us, ns or ps, "
            "or whole cycles, not 2000.0\n"
        ),
        edits=(("at = 2000", "at = 2000.0"),),
    ),
    Spoiled(
        "A reset must not begin in cycle 0.",
        "busbox: bench.toml:53: reset.0.at: must be in cycle 1 or later, not 0\n",
        edits=(("at = 2000", 'at = "0 s"'),),
    ),
    Spoiled(
        "A reset lasts at least a cycle.",
        (
            "busbox: bench.toml:54: reset.0.length: must be a whole number of cycles from "
            "1 to 1099511627776, not 0\n"
        ),
        edits=(("length = 4", "length = 0"),),
    ),
    Spoiled(
        "A reset's length is not `true`.",
        (
            "busbox: bench.toml:54: reset.0.length: must be a whole number of cycles from "
            "1 to 1099511627776, not true\n"
        ),
        edits=(("length = 4", "length = true"),),
    ),
    Spoiled(
        "A key of a reset must be known.",
        (
            "busbox: bench.toml:54: reset.0.lenght: unknown key 'lenght'; did you mean "
            "'length'? (known: at or length)\n"
        ),
        edits=(("length = 4", "lenght = 4"),),
    ),
    Spoiled(
        "Resets are a list of tables.",
        "busbox: bench.toml:52: reset: must be a list of tables, [[reset]], not a table\n",
        edits=(("[[reset]]", "[reset]"),),
    ),
    Spoiled(
        "Two resets must not touch.",
        (
            "busbox: bench.toml:57: reset.1.at: must be in cycle 2005 or later, not 2004: "
            "there must be at least one cycle between two resets\n"
        ),
        edits=(("length = 4\n", ("length = 4\n\n[[reset]]\nat = 2004\n")),),
    ),
    Spoiled(
        "Two resets must not overlap, whichever stands first.",
        (
            "busbox: bench.toml:53: reset.0.at: must be in cycle 2005 or later, not 2002: "
            "there must be at least one cycle between two resets\n"
        ),
        edits=(("[[reset]]", ("[[reset]]\nat = 2002\n\n[[reset]]")),),
    ),
    Spoiled(
        "Slots must not overlap, and both are told.",
        (
            "busbox: bench.toml:19: slot.telegraph.base: the slot overlaps slot 'levers': "
            "both answer at 0x40000000..0x40000fff (move one, or let one give way: "
            'yields_to = ["levers"])\n'
        ),
        edits=(("base = 0x4000_1000", "base = 0x4000_0000"),),
    ),
    Spoiled(
        "A slot in the middle of another is told with the range they share.",
        (
            "busbox: bench.toml:39: slot.book.base: the slot overlaps slot 'levers': both "
            "answer at 0x40000f00..0x40000fff (move one, or let one give way: yields_to = "
            '["levers"])\n'
        ),
        edits=(("base = 0x2000_0000", "base = 0x4000_0f00"),),
    ),
    Spoiled(
        "Slots must not yield in a circle.",
        (
            "busbox: bench.toml:16: slot.levers.yields_to: must not form a cycle: levers -> "
            "telegraph -> lamps -> levers\n"
        ),
        edits=(
            ("wait = 1\nyields_to = []", 'yields_to = ["lamps"]'),
            ("lamps = 8", 'lamps = 8\nyields_to = ["levers"]'),
            ("width = 8", 'width = 8\nyields_to = ["telegraph"]'),
        ),
    ),
    Spoiled(
        "A traffic file is no folder.",
        "busbox: bench.toml:45: traffic.file: must be a file, not the folder 'yard.steps'\n",
        edits=(('"day.steps"', '"yard.steps"'),),
        files={"yard.steps": None},
    ),
    Spoiled(
        "What is attached must be a table.",
        "busbox: bench.toml:45: attach.lamp: must be a table, [attach.NAME], not 1\n",
        edits=(("[traffic]", ("[attach]\nlamp = 1\n\n[traffic]")),),
    ),
    Spoiled(
        "A table of a later version is unknown: gantry.",
        ("busbox: bench.toml:44: gantry: unknown key 'gantry' (known: KEYS)\n"),
        edits=(("[traffic]", ("[gantry]\nlamp = 1\n\n[traffic]")),),
    ),
    Spoiled(
        "A key of a sweep must be known.",
        (
            "busbox: bench.toml:45: sweep.varry: unknown key 'varry'; did you mean 'vary'? (known: "
            "vary or measure)\n"
        ),
        edits=(("[traffic]", ("[sweep]\nvarry = {}\n\n[traffic]")),),
    ),
    Spoiled(
        "A variant is a table.",
        ("busbox: bench.toml:45: variant.dusk: must be a table, [variant.NAME], not 3\n"),
        edits=(("[traffic]", ("[variant]\ndusk = 3\n\n[traffic]")),),
    ),
    Spoiled(
        "Reads that are vouched for are a list.",
        (
            "busbox: bench.toml:46: traffic.harmless: must be a list of registers such as "
            "'clock.NOW', or 'clock.NOW@0x1a4' for the instruction at that address, not 'lamps'\n"
        ),
        edits=(('file = "day.steps"', 'file = "day.steps"\nharmless = "lamps"'),),
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
