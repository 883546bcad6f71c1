"""An attachment: counts what the hammer does, and finds a stroke too short to be heard."""

from functools import partial
from typing import ClassVar

from busbox.board.attachment import Decoder, LineFinding, LineReport
from busbox.lines.wave import Wave

#: Cycles that the hammer must stay down.
LEAST = 10


class Gong(Decoder):
    """Counts the strokes of a hammer."""

    rules: ClassVar = {
        "stroke-too-short": """A stroke is too short to be heard.

        Why it matters: the signalman waits for a bell that nobody heard.

        What to do
        ----------
        Write a larger number to STRIKE.
        """
    }

    def decode(self, wave: Wave) -> LineReport:
        rises, falls = wave.times[1::2], wave.times[2::2]
        lengths = (falls - rises[: len(falls)]).tolist()
        findings = [
            LineFinding("stroke-too-short", int(rise), partial(_short, length))
            for rise, length in zip(rises.tolist(), lengths, strict=False)
            if length < LEAST
        ]
        strokes = len(rises)
        return LineReport(
            rows=[("strokes", str(strokes))], facts={"strokes": strokes}, findings=findings
        )


def _short(length: int) -> tuple[str, str]:
    return f"a stroke lasts {length} cycles; {LEAST} are needed.", "Strike for longer."
