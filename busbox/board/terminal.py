"""A serial line as a terminal shows it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from busbox.board.baud import show_rate
from busbox.board.serial import PARITIES, Decoded, Format, decode
from busbox.board.wave import Wave
from busbox.reports.listing import printable_lines

#: Digits of a measured rate.
DIGITS = 6


@dataclass(frozen=True)
class Terminal:
    """What a serial line shows in a rate and a format.

    Attributes
    ----------
    decoded : what it says
    baud : bits a second that it was read with
    form : the format that it was read in
    """

    decoded: Decoded
    baud: Fraction
    form: Format

    @classmethod
    def look(cls, wave: Wave, baud: Fraction, format: Format) -> Terminal:
        """Return what a line shows.

        Raises
        ------
        ValueError : the rate does not fit the wave
        """
        return cls(decode(wave, baud, format), baud, format)

    @property
    def measured(self) -> float | None:
        """The measured rate in bits a second, to six digits, or None."""
        baud = self.decoded.measured_baud
        return None if baud is None else float(f"{float(baud):.{DIGITS}g}")

    @property
    def ticks(self) -> Fraction:
        """Ticks a bit by the rate that it was read with: how finely the capture shows a bit."""
        return 1 / (self.baud * self.decoded.tick)

    @property
    def counts(self) -> dict[str, int]:
        """How much of what is not as it should be."""
        return {
            "framing_errors": len(self.decoded.framing_errors),
            "parity_errors": len(self.decoded.parity_errors),
            "breaks": len(self.decoded.breaks),
            "false_starts": len(self.decoded.false_starts),
            "unfinished": int(self.decoded.unfinished is not None),
        }

    def as_object(self) -> dict[str, Any]:
        """Return it for JSON: ``bytes`` and ``text`` hold all but the framing errors."""
        return {
            "baud": float(self.baud),
            "format": str(self.form),
            "ticks_a_bit": float(self.ticks),
            "bytes": self.decoded.values,
            "text": self.decoded.text,
            **self.counts,
            "measured_baud": self.measured,
        }

    def rows(self) -> list[tuple[str, str]]:
        """Return it for a reader."""
        stop = "1 stop bit" if self.form.stop == 1 else f"{float(self.form.stop):g} stop bits"
        rate = f"{show_rate(self.baud)} baud, {self.form}"
        parity = PARITIES[self.form.parity]
        found = [("read as", f"{rate}: {self.form.data} data bits, {parity}, {stop}")]
        found.append(("steps", f"{float(self.ticks):.4g} a bit"))
        text = printable_lines(self.decoded.text) or ["none"]
        found += [("text" if number == 0 else "", line) for number, line in enumerate(text)]
        found.append(("bytes", f"{len(self.decoded.values):,}"))
        counts = self.counts
        if not any(counts.values()):
            found.append(("errors", "none"))
        found += [(name.replace("_", " "), f"{count:,}") for name, count in counts.items() if count]
        baud = self.decoded.measured_baud
        if baud is not None:
            error = 100 * float(baud / self.baud - 1)
            found.append(("measured", f"{self.measured:.12g} baud ({error:+.2f} %)"))
        return found
