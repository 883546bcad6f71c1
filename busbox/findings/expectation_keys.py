"""The keys of each kind of ``[[expect]]``, and how a count or a text is compared."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from busbox.basics.keys import Key

#: Comparisons of counts.
COUNTS: dict[str, Callable[[int, int], bool]] = {
    "at_least": lambda seen, wanted: seen >= wanted,
    "at_most": lambda seen, wanted: seen <= wanted,
    "exactly": lambda seen, wanted: seen == wanted,
}
#: Comparisons of texts.
TEXTS: dict[str, Callable[[str, str], bool]] = {
    "is": lambda seen, wanted: seen == wanted,
    "contains": lambda seen, wanted: wanted in seen,
    "ends_with": lambda seen, wanted: seen.endswith(wanted),
}


_COUNTED = {
    way: Key(f"The expected number: {words}.", "a whole number from 0 on", "1")
    for way, words in (("at_least", "at least this"), ("at_most", "at most this"),
                       ("exactly", "exactly this"))
}  # fmt: skip
_SENDER = "a slot (what it sent) or an attachment (what it read)"
#: The keys of each kind of expectation.
KEYS: Mapping[str, Mapping[str, Key]] = {
    "text": {
        "of": Key(
            "The slot or attachment whose text is checked.", _SENDER, '"telegraph"', required=True
        ),
        "is": Key("The whole text.", "a string", '"line free"'),
        "contains": Key("A part of the text.", "a string", '"free"'),
        "ends_with": Key("The end of the text.", "a string", '"free"'),
    },
    "level": {
        "pin": Key("The pin that is checked.", "a pin", '"levers.out.0"', required=True),
        "is": Key("The expected level.", "0 or 1", "1", required=True),
        "at": Key(
            "The time at which the level is checked.",
            "a time with s, ms, us, ns or ps, or whole cycles",
            '"2 ms"',
            "cycles",
            "the end of the run",
        ),
    },
    "frames": {
        "of": Key(
            "The slot or attachment whose frames are checked.", _SENDER, '"lamps"', required=True
        ),
        **_COUNTED,
    },
    "colours": {
        "of": Key(
            "The slot or attachment whose frames are checked.", _SENDER, '"lamps"', required=True
        ),
        "are": Key(
            "A colour for each lamp, RRGGBB or WWRRGGBB.",
            "a list of colours such as '400000'",
            '["400000", "004000"]',
            required=True,
        ),
        "frame": Key(
            "The number of the frame, counted from 0.",
            "the number of a frame (-1: the last)",
            "0",
            default="-1",
        ),
    },
    "findings": {
        "rule": Key("The rule whose findings are counted.", "a rule", '"byte-lost"', required=True),
        **_COUNTED,
    },
    "register": {
        "of": Key(
            "The register that is checked.",
            "a register such as levers.OUT",
            '"levers.OUT"',
            required=True,
        ),
        "is": Key(
            "The expected word at the end of the run.",
            "a whole number from 0 on",
            "1",
            required=True,
        ),
    },
    "cycles": {
        "of": Key(
            "The slot whose accesses are counted.", "a slot", '"levers"', default="all accesses"
        ),
        **_COUNTED,
    },
    "errors": {
        "of": Key(
            "The slot whose accesses are counted.", "a slot", '"levers"', default="all accesses"
        ),
        **_COUNTED,
    },
    "answered": {
        "address": Key(
            "The address of the word that is accessed.",
            "a multiple of 4 of 32 bits",
            "0x4000_1004",
            required=True,
        ),
        "by": Key(
            "Who answers every access to it.",
            "a slot, or 'nobody'",
            '"telegraph"',
            required=True,
        ),
    },
}
