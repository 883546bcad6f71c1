"""``busbox baud``."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

import click

from busbox.basics.errors import InputError, Mistake
from busbox.basics.paper import Paper
from busbox.basics.units import parse_clock, show_clock
from busbox.cli.common import json_option, paper, print_json
from busbox.lines.baud import Division, Tolerance, parse_rate, receivers, show_rate

#: What a receiver does, by its name.
TEXTS = {
    "mid_bit": "one sample, in the middle of each bit",
    "majority_16": "majority of three samples, of 16 per bit",
    "majority_8": "majority of three samples, of 8 per bit",
}


@click.command("baud")
@click.argument("clock")
@click.argument("rates", metavar="RATE...", nargs=-1, required=True)
@json_option
def command(clock: str, rates: tuple[str, ...], as_json: bool) -> int:
    """Show the divisor and error a clock gives for each baud rate, and what receivers tolerate.

    CLOCK is a clock such as "16 MHz", RATE a baud rate such as 115200. The divisor is that of the
    built-in uart: cycles per bit, the nearest whole number.
    """
    divisions = _divisions(clock, rates)
    if as_json:
        print_json(_object(divisions, receivers()))
    else:
        page = paper()
        _write(page, divisions, receivers())
        page.print()
    return 0


def _divisions(clock: str, rates: tuple[str, ...]) -> list[Division]:
    """Return the division for each rate.

    Raises
    ------
    InputError : with the clock or each rate that cannot be used
    """
    try:
        clock_hz = parse_clock(clock)
    except ValueError as error:
        raise InputError.of(str(error), "baud") from None
    found, mistakes = [], []
    for rate in rates:
        try:
            found.append(Division.nearest(clock_hz, parse_rate(rate)))
        except ValueError as error:
            mistakes.append(Mistake(str(error), "baud"))
    if mistakes:
        raise InputError(mistakes)
    return found


def _object(divisions: list[Division], known: Mapping[str, Tolerance]) -> dict[str, Any]:
    """Return what ``--json`` prints; rates in bits per second, the rest in per cent."""
    return {
        "clock_hz": divisions[0].clock_hz,
        "rates": [
            {
                "wanted": float(one.wanted),
                "divisor": one.divisor,
                "true_rate": float(one.rate),
                "error": float(one.error),
                "used": {name: float(limit.share(one.error)) for name, limit in known.items()},
            }
            for one in divisions
        ],
        "receivers": {
            name: {"slow": float(limit.slow), "fast": float(limit.fast)}
            for name, limit in known.items()
        },
    }


def _write(page: Paper, divisions: list[Division], known: Mapping[str, Tolerance]) -> None:
    page.line((f"Serial rates at a clock of {show_clock(divisions[0].clock_hz)}", "bold"))
    head = ("rate", "divisor", "true rate", "error", *known)
    rows = [
        (
            show_rate(one.wanted),
            one.divisor,
            show_rate(one.rate),
            f"{_signed(one.error)} %",
            *(f"{float(limit.share(one.error)):.1f} %" for limit in known.values()),
        )
        for one in divisions
    ]
    page.table(rows, head=head, numbers=range(len(head)))
    page.title("Receiver tolerance, to be shared with the error at the far end")
    page.table(
        (name, TEXTS[name], f"{float(limit.slow):.2f} % to {float(limit.fast):.2f} %")
        for name, limit in known.items()
    )


def _signed(error: Fraction) -> str:
    return f"{float(error):+.3f}" if error else "0"
