"""A serial line as a terminal shows it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import partial
from typing import Any

import numpy as np

from busbox.basics.listing import printable_lines
from busbox.basics.units import show_seconds
from busbox.board.attachment import Board, Decoder, Explanation, LineFinding, LineReport
from busbox.board.measured_rate import BAUD_PER_CENT, MeasuredRate
from busbox.device import Setting
from busbox.lines.baud import show_rate
from busbox.lines.serial import PARITIES, Character, Decoded, Format, decode
from busbox.lines.wave import Wave


class Terminal(Decoder):
    """Decodes a serial line from its edges alone, whatever drives it.

    Each bit is sampled in its middle. Characters with a low stop bit are framing errors, and are not
    shown; a line that is low for a whole character is a break. The rate is measured from the edges,
    independently of ``baud``, and shown with its accuracy.
    """

    settings = (
        Setting("baud", 115_200, kind="number", low=1, high=10**12, text="Bits per second.",
                unit="bits per second"),
        Setting("format", "8N1", kind="text",
                text="Data bits (5 to 9), parity (N, E or O), stop bits (1, 1.5 or 2)."),
    )  # fmt: skip
    sends = ("text",)

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with the format."""
        try:
            Format.parse(settings["format"])
        except ValueError as error:
            return str(error)
        return None

    def __init__(self, board: Board, **settings: Any) -> None:
        super().__init__(board, **settings)
        self.form = Format.parse(settings["format"])
        self.baud = Fraction(str(settings["baud"]))
        #: The last line that was read, and what it says: each byte of one may have to be explained.
        self._last: tuple[Wave, Decoded] | None = None

    def _decoded(self, wave: Wave) -> Decoded:
        if self._last is None or self._last[0] is not wave:
            self._last = wave, decode(wave, self.baud, self.form)
        return self._last[1]

    def decode(self, wave: Wave) -> LineReport:
        """Return what the line says.

        Raises
        ------
        ValueError : the rate does not fit the line
        """
        decoded = self._decoded(wave)
        return LineReport(
            rows=list(self._rows(wave, decoded)),
            facts=self._facts(decoded),
            text=decoded.text,
            characters=list(zip(decoded.characters.starts.tolist(), decoded.values, strict=True)),
            findings=list(self._findings(wave, decoded)),
        )

    def _findings(self, wave: Wave, decoded: Decoded) -> Iterator[LineFinding]:
        """Yield the wrong rate; where it is right or unknown, low stop bits and wrong parities."""
        if not decoded.off_by(BAUD_PER_CENT, wave.sampling > 0):
            for describe, characters in (
                (self._describe_error, decoded.framing_errors),
                (self._describe_parity, decoded.parity_errors),
            ):
                for character in characters:
                    message = partial(describe, wave, character)
                    yield LineFinding("framing", character.end - 1, message, character.start)
            return
        rate = MeasuredRate(wave, decoded, self.baud)
        first = decoded.likely[0].first
        end = min(first - int(-self.form.bits * decoded.likely[0].ticks // 1), wave.end) - 1
        yield LineFinding("baud-error", end, rate.finding, first, advice=rate.advice)

    def explain(self, wave: Wave, tick: int, sent: int) -> Explanation | None:
        """Return the data bit that was sampled as the other one; None if the rate is wrong."""
        decoded = self._decoded(wave)
        if decoded.off_by(BAUD_PER_CENT, wave.sampling > 0):
            return None
        rate = MeasuredRate(wave, decoded, self.baud)
        hint = "Use the same rate and format at both ends (busbox baud)."
        if sent >> self.form.data:
            text = f"{sent:#x} has more than the {self.form.data} data bits that {self.form} has"
            return Explanation(text, hint)
        shown = [one.value for one in decoded.characters if one.start == tick]
        wrong = shown[0] ^ sent if shown else 0
        if not wrong:
            return Explanation(rate.known(), hint, rate.advice())
        bit = (wrong & -wrong).bit_length() - 1
        moment = Fraction(2 * bit + 3, 2)
        text = (
            f"data bit {bit} was sent as {sent >> bit & 1}, and {float(moment):g} bit times after the "
            f"start edge, in {rate.moment} {tick + int(moment * decoded.ideal):,}, the line is "
            f"{('high', 'low')[sent >> bit & 1]}"
        )
        return Explanation(f"{text}; {rate.known()}", hint, rate.advice())

    def describe(self, wave: Wave, tick: int) -> str:
        """Return the character that a tick is part of."""
        decoded = self._decoded(wave)
        characters = decoded.characters
        number = int(np.searchsorted(characters.starts, tick, side="right")) - 1
        while number > 0 and characters[number - 1].end > tick:  # lengths are rounded up
            number -= 1
        one = characters[number] if number >= 0 else None
        if one is None or tick >= one.end:
            return ""
        place = int((tick - one.start) * wave.tick * self.baud)
        return f"character {number}, {one.value:#04x} {chr(one.value)!r}, bit time {place}"

    def _facts(self, decoded: Decoded) -> dict[str, Any]:
        """Return it for programs: ``bytes`` and ``text`` hold everything but the framing errors."""
        return {
            "baud": float(self.baud),
            "format": str(self.form),
            "ticks_a_bit": float(self._ticks(decoded.tick)),
            "bytes": decoded.values,
            "text": decoded.text,
            **_counts(decoded),
            **MeasuredRate.facts(decoded),
        }

    def _ticks(self, tick: Fraction) -> Fraction:
        """Return the ticks per bit at the rate it is decoded at: how finely a bit is seen."""
        return 1 / (self.baud * tick)

    def _rows(self, wave: Wave, decoded: Decoded) -> Iterator[tuple[str, str]]:
        stop = "1 stop bit" if self.form.stop == 1 else f"{float(self.form.stop):g} stop bits"
        parity = PARITIES[self.form.parity]
        bits = f"{self.form.data} data bits, {parity}, {stop}"
        yield "read as", f"{show_rate(self.baud)} baud, {self.form}: {bits}"
        unit = "samples" if wave.sampling else "cycles"
        yield "a bit", f"{float(self._ticks(decoded.tick)):.4g} {unit}"
        if not len(wave.times):
            yield "line", "level never known"
        for number, line in enumerate(printable_lines(decoded.text) or ["none"]):
            yield "text" if number == 0 else "", line
        yield "characters", f"{len(decoded.values):,}"
        counts = {name: count for name, count in _counts(decoded).items() if count}
        if not counts:
            yield "errors", "none"
        for name, count in counts.items():
            yield name.replace("_", " "), f"{count:,}"
        if len(wave.times) > 1:
            yield "measured", MeasuredRate(wave, decoded, self.baud).row()

    def _describe_error(self, wave: Wave, one: Character) -> tuple[str, str]:
        """Return what a framing error is, and what to try."""
        shortest = int(np.diff(wave.times[1:]).min())  # the first time is not an edge
        rate = 1 / (shortest * wave.tick)
        unit = "samples" if wave.sampling else "cycles"
        return (
            f"the line is low where the stop bit should be, decoded at {show_rate(self.baud, ',')} "
            f"baud, {self.form}: the character {one.value:#04x} is not shown. The shortest time "
            f"between two edges, {shortest:,} {unit} ({show_seconds(shortest * wave.tick)}), would be "
            f"a bit at {float(rate):,.0f} baud.",
            "Use the same rate and format at both ends: divisor = clock / rate (busbox baud), and baud "
            "and format of the terminal.",
        )

    def _describe_parity(self, wave: Wave, character: Character) -> tuple[str, str]:
        """Return what a parity error is, and what to try."""
        return (
            f"the parity of character {character.value:#04x} is wrong, decoded at "
            f"{show_rate(self.baud, ',')} baud, {self.form}: a receiver that checks parity would not "
            "accept it.",
            "Use the same format at both ends: set format of the terminal to that of the sender.",
        )


def _counts(decoded: Decoded) -> dict[str, int]:
    """Return how many errors of each kind there are."""
    return {
        "framing_errors": len(decoded.framing_errors),
        "parity_errors": len(decoded.parity_errors),
        "breaks": len(decoded.breaks),
        "false_starts": len(decoded.false_starts),
        "unfinished": int(decoded.unfinished is not None),
    }
