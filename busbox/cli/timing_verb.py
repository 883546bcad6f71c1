"""``busbox timing``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.paper import Paper
from busbox.basics.units import parse_clock, show_clock
from busbox.cli import completing
from busbox.cli.common import json_option, paper, print_json
from busbox.lines.clocks import Choice, Fit, fit, fit_all, show_counts
from busbox.lines.profiles import PROFILES, WINDOWS, Profile, Window, show_ns

#: Profiles that are to share one timing: those of published sources for three channels.
TOGETHER = ("P1", "P2", "P3")
#: The largest count that a half of the registers HIGH and PERIOD of pulse_led holds.
LARGEST = 0xFFFF


@click.command("timing")
@click.argument("clock", metavar="CLOCK")
@click.option(
    "--profile",
    metavar="PROFILE",
    shell_complete=completing.profiles,
    help="Show only this profile, e.g. P4.",
)
@json_option
def command(clock: str, profile: str | None, as_json: bool) -> int:
    """List the cycle counts that meet the timing of a lamp line.

    CLOCK is a clock such as "16 MHz". For each profile: the numbers of clock cycles that lie inside its
    windows, and the choice with the largest worst margin. Zeros and ones have one bit period, as in the
    registers of pulse_led; of equal choices, the one with the shortest period is shown.
    """
    try:
        clock_hz = parse_clock(clock)
    except ValueError as error:
        raise InputError.of(str(error), "timing") from None
    profiles = _profiles(profile)
    fits = {one.name: fit(one, clock_hz) for one in profiles}
    together = fit_all([PROFILES[one] for one in TOGETHER], clock_hz) if profile is None else None
    if as_json:
        print_json(_object(clock_hz, profiles, fits, together))
    else:
        page = paper()
        _write(page, clock_hz, profiles, fits, together)
        page.print()
    return 0


def _profiles(name: str | None) -> list[Profile]:
    if name is None:
        return list(PROFILES.values())
    if name not in PROFILES:
        raise InputError.of(
            f"must be {join_or(PROFILES)}, not {name!r}{nearest(name, list(PROFILES))}", "--profile"
        )
    return [PROFILES[name]]


# For people.


def _write(
    page: Paper,
    clock_hz: int,
    profiles: list[Profile],
    fits: Mapping[str, Fit],
    together: Fit | None,
) -> None:
    page.line(
        (f"{show_clock(clock_hz)}: a cycle lasts {show_ns(Fraction(10**9, clock_hz))}", "bold")
    )
    head = ("profile", *WINDOWS.values())
    page.title("Windows")
    page.table(((one.name, *one.windows.values()) for one in profiles), head=head)
    page.title("Cycle counts inside them")
    page.table(((one, *map(show_counts, fits[one].counts.values())) for one in fits), head=head)
    page.title("Best cycle counts, with one bit period for zeros and ones")
    page.table(_choices(fits))
    if together is not None:
        page.title(f"One timing for {', '.join(TOGETHER[:-1])} and {TOGETHER[-1]}")
        page.table(_choices({"all": together}))
    page.title("Sources")
    page.table((one.name, f"{_meant(one)}: {one.source}") for one in profiles)


def _choices(fits: Mapping[str, Fit]) -> Iterator[tuple[str, str]]:
    for name, one in fits.items():
        if one.choice is None:
            yield from ((name if not number else "", f"{'none: ' if not number else '      '}{why}")
                        for number, why in enumerate(one.why))  # fmt: skip
        else:
            yield name, _choice_text(one.choice)
            yield "", _registers(one.choice)


def _choice_text(choice: Choice) -> str:
    return (
        f"zero high {choice.zero_high:,}, one high {choice.one_high:,}, bit {choice.period:,}, "
        f"gap {choice.gap:,}: worst margin {show_ns(choice.margin)}"
    )


def _registers(choice: Choice) -> str:
    """Return the words for the registers of pulse_led, or why there are none."""
    words = _words(choice)
    if words is None:
        return f"beyond pulse_led: its registers hold counts up to {LARGEST:,}"
    return f"pulse_led: HIGH {words['HIGH']:#010x}, PERIOD {words['PERIOD']:#010x}"


def _words(choice: Choice) -> dict[str, int] | None:
    if max(choice.one_high, choice.period, choice.gap) > LARGEST:
        return None
    return {
        "HIGH": choice.one_high << 16 | choice.zero_high,
        "PERIOD": choice.gap << 16 | choice.period,
    }


def _meant(profile: Profile) -> str:
    channels = join_or(map(str, profile.channels))
    judged = "" if profile.colours else ", judged only"
    return f"{channels} x {profile.channel_bits} bit, {profile.order}{judged}"


# For programs.


def _object(
    clock_hz: int, profiles: list[Profile], fits: Mapping[str, Fit], together: Fit | None
) -> dict[str, Any]:
    """Return the object that ``--json`` prints; times are nanoseconds, exact fractions as strings."""
    return {
        "clock_hz": clock_hz,
        "profiles": {
            one.name: {
                "source": one.source,
                "order": one.order,
                "channels": list(one.channels),
                "channel_bits": one.channel_bits,
                **_fit_object(fits[one.name]),
            }
            for one in profiles
        },
        "together": together and {"profiles": list(TOGETHER), **_fit_object(together)},
    }


def _fit_object(one: Fit) -> dict[str, Any]:
    return {
        "windows_ns": {key: window and _ends(window) for key, window in one.windows.items()},
        "clocks": {key: inside and list(inside) for key, inside in one.counts.items()},
        "choice": one.choice and _choice_object(one.choice),
        "why": list(one.why),
    }


def _ends(window: Window) -> dict[str, Any]:
    return {
        "least": str(window.least),
        "most": None if window.most is None else str(window.most),
        "beyond": window.beyond,
    }


def _choice_object(choice: Choice) -> dict[str, Any]:
    return {
        "zero_high": choice.zero_high,
        "one_high": choice.one_high,
        "period": choice.period,
        "gap": choice.gap,
        "margin_ns": str(choice.margin),
        "pulse_led": _words(choice),
    }
