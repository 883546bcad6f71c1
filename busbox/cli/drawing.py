"""What ``busbox draw`` can draw: from words to a picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from busbox.basics.errors import InputError, join_and, join_or, nearest
from busbox.basics.units import parse_span
from busbox.board.lamp_string import LampString
from busbox.cli.common import judged_run, number_of, open_bench, refuse_options_of_a_run
from busbox.cli.picture_names import PICTURES
from busbox.map.addresses import typed_number
from busbox.map.slots import AddressMap
from busbox.pictures import (
    Look,
    TooNarrow,
    access_picture,
    decode_picture,
    lamps_picture,
    map_picture,
    pins_picture,
    pulse_picture,
    sweep_picture,
)
from busbox.pictures.lamps import strings_seen
from busbox.pictures.pulse import reading_of
from busbox.recording import Recording
from busbox.system.system import System

#: From here on, a number that is none of a thing is likely to be an address: it has eight digits.
LIKE_AN_ADDRESS = 10**7

#: Draws a picture in a look.
Draw = Callable[[Look], str]
#: Opens what a picture is drawn of: bench or recording, and its changes.
Asked = Callable[[str, tuple[str, ...]], Draw]


def asked(words: tuple[str, ...]) -> Asked:
    """Return what words ask to draw.

    Raises
    ------
    InputError : there is no such picture, or its words are wrong
    """
    name, *rest = words
    if name not in PICTURES:
        known = list(PICTURES)
        raise InputError.of(
            f"there is no picture {name!r}{nearest(name, known)} (known: {join_or(known)})", "draw"
        )
    argument = PICTURES[name]
    wanted = argument.split()
    needed = [one for one in wanted if not one.startswith("[")]
    if not len(needed) <= len(rest) <= len(wanted):
        form = f"{name} {argument}".rstrip()
        raise InputError.of(f"must be '{form}', not {' '.join(words)!r}", "draw")
    return _MAKES[name](*rest)


def _map() -> Asked:
    def opened(bench: str, values: tuple[str, ...]) -> Draw:
        address_map = _map_of(bench, values)
        return lambda look: map_picture(address_map, look)

    return opened


def _decode(text: str) -> Asked:
    try:
        address = typed_number(text)
    except ValueError as error:
        raise InputError.of(str(error), "decode") from None

    def opened(bench: str, values: tuple[str, ...]) -> Draw:
        address_map = _map_of(bench, values)
        return lambda look: decode_picture(address_map, address, look)

    return opened


def _map_of(bench: str, values: tuple[str, ...]) -> AddressMap:
    return AddressMap([device.slot for device in open_bench(bench, values).devices()])


def _access(text: str) -> Asked:
    return _of_run("access", text, _drawn_access)


def _drawn_access(system: System, recording: Recording, access: int) -> Draw:
    _check_number("access", access, len(recording.accesses), "accesses")
    address_map = AddressMap([device.slot for device in system.devices])
    return lambda look: access_picture(recording, access, look, address_map)


def _pulse(text: str, name: str | None = None) -> Asked:
    def drawn(system: System, recording: Recording, pulse: int) -> Draw:
        strings = {
            one.name: (f"{system.devices[one.device].name}.{one.pin}", one.part)
            for one in system.attached
            if isinstance(one.part, LampString)
        }
        pin, string = strings[_one_of(list(strings), name, "pulse N")]
        reading = reading_of(recording, pin, string)
        _check_number("pulse", pulse, len(reading.read.bits.begin), f"pulses on {pin}")
        return lambda look: pulse_picture(reading, pulse, look, pin)

    return _of_run("pulse", text, drawn)


def _one_of(strings: list[str], name: str | None, words: str) -> str:
    """Return which string of lamps is drawn: the one that is named, or the only one.

    Raises
    ------
    InputError : there is none, none of that name, or no name for several
    """
    if not strings:
        raise InputError.of("the bench has no string of lamps to draw", "draw")
    if name is None and len(strings) > 1:
        raise InputError.of(
            f"the bench has {len(strings)} strings of lamps, {join_and(strings)}: name one, as in "
            f"{words} {strings[0]}",
            "draw",
        )
    if name is not None and name not in strings:
        raise InputError.of(
            f"there is no string of lamps {name!r}{nearest(name, strings)} (known: {join_or(strings)})",
            "draw",
        )
    return name or strings[0]


def _lamps(name: str | None = None) -> Asked:
    def opened(bench: str, values: tuple[str, ...]) -> Draw:
        with judged_run(bench, values, None, False) as (_, recording):
            string = _one_of(list(strings_seen(recording)), name, "lamps")

        def draw(look: Look) -> str:
            try:
                return lamps_picture(recording, look, string)
            except TooNarrow:
                raise
            except ValueError as error:
                raise InputError.of(str(error), "draw") from None

        return draw

    return opened


def _pins(text: str) -> Asked:
    ends = text.split("..")
    try:
        spans = [parse_span(end) for end in ends]
    except ValueError as error:
        raise InputError.of(str(error), "pins") from None
    if len(spans) != 2:
        raise InputError.of(f"must be FROM..TO such as 1ms..2ms, not {text!r}", "pins")

    def opened(bench: str, values: tuple[str, ...]) -> Draw:
        with judged_run(bench, values, None, False) as (_, recording):
            first, end = (span.in_cycles(recording.clock_hz) for span in spans)
        if not first < end <= recording.cycles:
            raise InputError.of(
                f"must be two times in order, up to the end of the run in cycle {recording.cycles:,}, "
                f"not cycles {first:,} to {end:,}",
                "pins",
            )
        return lambda look: pins_picture(recording, first, end - 1, look)

    return opened


def _sweep() -> Asked:
    return _opened_sweep


def _opened_sweep(bench: str, values: tuple[str, ...]) -> Draw:
    """Open the table of a sweep, or run the sweep that a bench declares."""
    from busbox.report.sweep_page import keys_of
    from busbox.variants.keeping import SUFFIXES
    from busbox.variants.sweep import sweep
    from busbox.variants.tables import SweepTable, read_table

    table: SweepTable
    if Path(bench).suffix in SUFFIXES:
        refuse_options_of_a_run(bench, "the table of a sweep")
        table = read_table(Path(bench))
        keys = keys_of(table)
    else:
        found = open_bench(bench, values)
        if not found.keys.get("sweep", {}).get("vary"):
            text = "the bench has no [sweep] vary; name the table that busbox sweep -o has written"
            raise InputError.of(text, "draw")
        swept = sweep(found)
        table = SweepTable(swept.columns, swept.rows)
        keys = [axis.key for axis in swept.axes]

    def draw(look: Look) -> str:
        try:
            return sweep_picture(table, keys, look)
        except TooNarrow:
            raise
        except ValueError as error:
            raise InputError.of(str(error), "draw") from None

    return draw


def _of_run(name: str, text: str, draw: Callable[[System, Recording, int], Draw]) -> Asked:
    """Return what runs a bench, or takes a recording, and draws one thing of it by its number."""
    wanted = number_of(text, name)

    def opened(bench: str, values: tuple[str, ...]) -> Draw:
        with judged_run(bench, values, None, False) as (system, recording):
            return draw(system, recording, wanted)

    return opened


def _check_number(name: str, wanted: int, count: int, things: str) -> None:
    if wanted >= count:
        known = f"there are {count:,} {things}, from 0" if count else f"the run has no {things}"
        about = "; an address is drawn by 'decode ADDRESS'" if wanted >= LIKE_AN_ADDRESS else ""
        raise InputError.of(f"there is no {name} {wanted:,}: {known}{about}", "draw")


#: Name of a picture to what opens it, given the words after the name.
_MAKES: Mapping[str, Callable[..., Asked]] = {
    "map": _map,
    "decode": _decode,
    "access": _access,
    "pulse": _pulse,
    "lamps": _lamps,
    "pins": _pins,
    "sweep": _sweep,
}
