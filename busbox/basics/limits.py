"""Limits on what is read: each in one place, with the environment variable that raises it.

A file of a stranger must stay within bounds whatever is in it: about 1 GB of memory and 10 s until the
message, with the values given here. Whoever needs more sets the variable, which the message names.
``busbox guide limits`` lists them.
"""

from __future__ import annotations

import os
from collections.abc import Sized
from dataclasses import dataclass

from busbox.basics.errors import InputError, format_value

#: No limit can be raised above it: sums of two stay below 2^63.
HIGHEST = 1 << 60


@dataclass(frozen=True)
class Limit:
    """One limit.

    Attributes
    ----------
    name : of its environment variable, behind ``BUSBOX_MOST_``
    value : the limit, unless the variable is set
    unit : of what
    text : what it limits, as the manual has it
    """

    name: str
    value: int
    unit: str
    text: str

    @property
    def variable(self) -> str:
        """The environment variable that sets another limit."""
        return f"BUSBOX_MOST_{self.name}"

    @property
    def most(self) -> int:
        """The limit that holds now.

        Raises
        ------
        InputError : the environment variable is not a whole number from 1 on
        """
        given = os.environ.get(self.variable, "")
        if not given:
            return self.value
        if given.isascii() and given.isdigit() and len(given) <= 18 and 0 < int(given) <= HIGHEST:
            return int(given)
        text = f"must be a whole number from 1 to {HIGHEST}, not {format_value(given)}"
        raise InputError.of(text, self.variable)

    def exceeded(self, what: str) -> str:
        """Return the message that ``what`` is above the limit, which names the variable."""
        return (
            f"{what} must have at most {self.most:,} {self.unit}; {self.variable} raises this limit"
        )

    def check(
        self, found: int | Sized, what: str, where: str = "", line: int | None = None
    ) -> None:
        """Refuse a number, or what has such a length, above the limit.

        Raises
        ------
        InputError : names the limit and its variable
        """
        if (found if isinstance(found, int) else len(found)) > self.most:
            raise InputError.of(self.exceeded(what), where, line)


MIB = 1 << 20

LINE = Limit("LINE", MIB, "bytes", "A line of text: traffic, CSV, captures.")
TOKEN = Limit("TOKEN", 1 << 16, "bytes", "A word of a waveform file, such as a value.")
NAME = Limit("NAME", 1 << 11, "bytes", "The name of a signal in a waveform file, with its scopes.")
DECLARATIONS = Limit("DECLARATIONS", 32 * MIB, "bytes", "The declarations of a waveform file.")
COLUMNS = Limit("COLUMNS", 1 << 12, "columns", "A table of CSV.")
SAMPLES = Limit("SAMPLES", 2_000_000, "rows", "A capture in CSV.")
CAPTURE = Limit("CAPTURE", 128 * MIB, "bytes", "A capture in VCD.")
VARIABLES = Limit("VARIABLES", 1 << 17, "variables", "A waveform file.")
TOML = Limit("TOML", 4 * MIB, "bytes", "A file in TOML: a bench, registers, a map of signals.")
NESTING = Limit(
    "NESTING", 32, "levels", "Tables, lists and dotted keys of TOML; scopes of a waveform."
)
HEADER = Limit("HEADER", MIB, "bytes", "A C header or C file.")
HEADER_WORK = Limit("HEADER_WORK", 3_000_000, "words", "What a C header's names expand to, and are "
                    "looked for in.")  # fmt: skip
DECLARATION = Limit("DECLARATION", MIB // 4, "bytes", "A declaration of registers in SystemRDL.")
VERILOG = Limit("VERILOG", 16 * MIB, "bytes", "A file in Verilog.")
VERILOG_SECONDS = Limit("VERILOG_SECONDS", 10, "seconds of processor time", "The Verilog front end, "
                        "for one module.")  # fmt: skip
VERILOG_MEMORY = Limit("VERILOG_MEMORY", 768 * MIB, "bytes", "The Verilog front end at work.")
IMAGE = Limit("IMAGE", 16 * MIB, "bytes", "A program or a memory image: ELF, binary; of segments, all "
              "together.")  # fmt: skip
HEX_IMAGE = Limit("HEX_IMAGE", 8 * MIB, "bytes", "A program or a memory image in Intel "
                  "HEX; a file with data that a module in Verilog reads.")  # fmt: skip
CORE_MEMORY = Limit("CORE_MEMORY", 64 * MIB, "bytes", "All memories of a core.")
HARDWARE_MEMORY = Limit("HARDWARE_MEMORY", MIB // 2, "bytes", "A memory in hardware: of a device in "
                        "Amaranth, a module in Verilog, `as = 'hardware'`.")  # fmt: skip
TABLE = Limit(
    "TABLE",
    32 * MIB,
    "bytes",
    "The table of a sweep, and what an interrupted sweep has kept, as they are read back.",
)
UNPACKED = Limit("UNPACKED", 2048 * MIB, "bytes", "All columns of a recording, unpacked.")
FACTS = Limit("FACTS", 64 * MIB, "bytes", "What a recording holds beside its columns, unpacked.")
FACT_PARTS = Limit("FACT_PARTS", 4_000_000, "lists and tables", "What a recording holds beside its "
                   "columns.")  # fmt: skip
PARTS = Limit("PARTS", 1 << 16, "columns and files", "A recording.")
RATIO = Limit("RATIO", 200, "times its packed size", "A gzip file of more than 64 MiB, unpacked.")
ROWS = Limit("ROWS", 1 << 27, "rows", "Each column of what a run records, such as its accesses.")
SLOTS = Limit("SLOTS", 1 << 10, "slots", "A bench.")
PINS = Limit("PINS", 1 << 17, "pins", "All devices of a bench.")
ATTACHMENTS = Limit("ATTACHMENTS", 1 << 10, "attachments", "A bench.")
WIRES = Limit("WIRES", 1 << 14, "wires", "A bench.")

#: Every limit, in the order of the manual.
LIMITS = (
    LINE, TOKEN, NAME, COLUMNS, SAMPLES, CAPTURE, DECLARATIONS, VARIABLES, TOML, NESTING, HEADER,
    HEADER_WORK, DECLARATION, VERILOG, VERILOG_SECONDS, VERILOG_MEMORY, IMAGE, HEX_IMAGE, CORE_MEMORY,
    HARDWARE_MEMORY, TABLE, UNPACKED, FACTS, FACT_PARTS, PARTS, RATIO, ROWS, SLOTS, PINS,
    ATTACHMENTS, WIRES,
)  # fmt: skip
