"""The picture that helps with a finding."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from busbox.bench.opening import opened
from busbox.board.lamp_reading import LampReading
from busbox.map.slots import AddressMap
from busbox.pictures.access import access_picture
from busbox.pictures.address_map import map_of, map_picture
from busbox.pictures.hole import hole_picture
from busbox.pictures.lamps import lamps_picture, strings_seen
from busbox.pictures.pulse import lamp_strings, pulse_picture, reading_of
from busbox.pictures.svg import MOST_WIDTH, Look, TooNarrow
from busbox.pictures.words import poll_picture, words_picture, written_picture
from busbox.recording import Recording
from busbox.recording.judged import Finding
from busbox.system.system import System

#: Rules whose findings have a picture, by what it shows.
MAPPED = ("unmapped-access", "no-answer", "bus-hang", "image-access")
#: Of these, those of a slot that answers too late or never show the access with its signals instead.
WAITED = ("no-answer", "bus-hang")
PULSES = ("pulse-width", "latch-gap")
SHOWN = ("shown-differs", "colour-order")
READS = ("read-differs",)
#: Rules whose findings are of one access: each has its own picture.
ACCESSES = ("poll-timeout", "reserved-bits", "register-hole", "lanes-lost", "data-off-lanes")


def finding_picture(
    recording: Recording, finding: Finding, look: Look, system: System | None = None
) -> str | None:
    """Return the picture of a finding as SVG, None where no picture helps.

    A pulse or a latch gap is beside its window, an access that goes astray beside the address map,
    a read beside the word that was recorded or waited for, a write beside the bits of its
    register, a hole beside the registers around it, frames of lamps beside those that are shown. A
    picture that needs more room is wider than asked for.

    Parameters
    ----------
    system : what was run; None: it is built from the bench that the recording carries, each time. A
        recording without its bench has only pictures that need none
    """
    if finding.rule in SHOWN:
        return _of_lamps(recording, finding, look)
    if finding.rule not in (*MAPPED, *PULSES, *READS, *ACCESSES):
        return None
    if system is not None:
        return _of_system(recording, finding, look, system)
    if recording.carried is None or recording.carried.lacks:
        return None
    with opened(recording) as built:
        return _of_system(recording, finding, look, built)


def fitted(draw: Callable[[Look], str], look: Look) -> str:
    """Return a picture, wider than asked for if it does not fit.

    Raises
    ------
    TooNarrow : it does not fit on the widest sheet either
    """
    try:
        return draw(look)
    except TooNarrow as narrow:
        if narrow.least > MOST_WIDTH:
            raise
        return draw(Look(narrow.least, look.dark, look.transparent))


def _of_system(recording: Recording, finding: Finding, look: Look, system: System) -> str | None:
    access, address_map = finding.access, map_of(system)
    if finding.rule in PULSES:
        return _of_pulse(recording, finding, look, system)
    if access < 0:
        return None
    if finding.rule in READS:
        return _of_read(recording, access, look, address_map)
    if finding.rule in ACCESSES:
        return _of_access(recording, finding, look, address_map)
    address = int(recording.accesses.address[access])
    if finding.rule in WAITED and recording.accesses.slot[access] >= 0:
        return fitted(lambda one: access_picture(recording, access, one, address_map), look)
    return fitted(lambda one: map_picture(address_map, one, (access, address)), look)


def _of_read(recording: Recording, access: int, look: Look, address_map: AddressMap) -> str | None:
    if recording.accesses.expected[access] < 0:
        return None
    return fitted(lambda one: words_picture(recording, access, one, address_map), look)


def _of_access(
    recording: Recording, finding: Finding, look: Look, address_map: AddressMap
) -> str | None:
    access = finding.access
    if finding.rule == "poll-timeout":
        polls = [one for one in recording.polls_given_up if one.access == access]
        if not polls or polls[0].at_least:
            return None
        return fitted(lambda one: poll_picture(recording, polls[0], one, address_map), look)
    draw = {"reserved-bits": written_picture, "register-hole": hole_picture}.get(
        finding.rule, access_picture
    )
    return fitted(lambda one: draw(recording, access, one, address_map), look)


def _of_pulse(recording: Recording, finding: Finding, look: Look, system: System) -> str | None:
    pin = f"{finding.slot}.{finding.register}"
    string = lamp_strings(system).get(pin)
    if string is None:
        return None
    reading = reading_of(recording, pin, string)
    pulse = failing_pulse(reading, finding.cycle)
    if pulse is None:
        return None
    return fitted(lambda one: pulse_picture(reading, pulse, one, pin), look)


def failing_pulse(reading: LampReading, cycle: int) -> int | None:
    """Return the pulse outside its windows that a cycle belongs to, or that it has just ended."""
    failing = set(reading.read.failing_bits.tolist())
    begin = reading.read.bits.begin
    here = int(np.searchsorted(begin, cycle, side="right")) - 1
    ended = here >= 0 and begin[here] == cycle
    order = (here - 1, here) if ended else (here, here - 1)
    return next((one for one in order if one in failing), None)


def _of_lamps(recording: Recording, finding: Finding, look: Look) -> str | None:
    """Return the frames that were sent and are shown, if they fit on the widest sheet."""
    pin = f"{finding.slot}.{finding.register}"
    names = [name for name, one in strings_seen(recording).items() if one.pin == pin]
    if len(names) != 1:
        return None
    try:
        return fitted(lambda one: lamps_picture(recording, one, names[0]), look)
    except ValueError:  # more frames or lamps than a picture can hold
        return None
