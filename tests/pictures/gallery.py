"""Pictures of the benches that come with Busbox: at least one of each kind, and odd ones."""

from __future__ import annotations

from functools import cache

from busbox import load_bench
from busbox.cli.drawing import Draw, asked
from busbox.pictures import Look, finding_picture, fitted

#: What is varied where a sweep is drawn.
VARY = ("sweep.vary={ clock = '8MHz..24MHz/8MHz', slot.lamps.wait = [0, 1] }",)
#: Bench, and the words after it on the command line, or a rule whose finding is drawn.
DRAWN = (
    ("first_light", "map"),
    ("signal_cabin_recorded", "map"),
    ("mistakes/addresses", "map"),
    ("first_light", "decode 0x4400000c"),
    ("mistakes/addresses", "decode 0x44100008"),
    ("mistakes/addresses", "decode 0x41000008"),
    ("first_light", "access 0"),
    ("mistakes/silence", "access 0"),
    ("mistakes/hang", "access 0"),
    ("first_light", "pulse 0"),
    ("first_light", "pulse 191"),
    ("mistakes/lamp_clock", "pulse 0"),
    ("mistakes/lamp_gap", "pulse 47"),
    ("first_light", "lamps"),
    ("mistakes/lamp_zeros", "lamps"),
    ("first_light", "pins 0..6864"),
    ("first_light", "pins 130us..132us"),
    ("first_light", "sweep"),
    ("mistakes/registers", "finding register-hole"),
    ("mistakes/registers", "finding reserved-bits"),
    ("mistakes/waiting", "finding read-differs"),
    ("mistakes/waiting", "finding poll-timeout"),
)


@cache
def _opened(bench: str, words: str) -> Draw:
    name, *rest = words.split()
    if name != "finding":
        return asked((name, *rest))(bench, VARY if name == "sweep" else ())
    run = load_bench(bench).run("python")
    finding = next(one for one in run.findings if one.rule == rest[0])

    def draw(look: Look) -> str:
        picture = finding_picture(run, finding, look)
        assert picture is not None
        return picture

    return draw


def drawn(bench: str, words: str, look: Look) -> str:
    """Return a picture as ``busbox draw`` draws it, wider if it has to be; a bench is run once."""
    return fitted(_opened(bench, words), look)
