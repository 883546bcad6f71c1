"""An attachment: counts what the hammer does."""

from busbox.board.attachment import Decoder, LineReport
from busbox.lines.wave import Wave


class Gong(Decoder):
    """Counts the strokes of a hammer."""

    def decode(self, wave: Wave) -> LineReport:
        strokes = int((wave.levels[1:] == 1).sum())
        return LineReport(rows=[("strokes", str(strokes))], facts={"strokes": strokes})
