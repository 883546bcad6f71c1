"""An attachment: counts what the hammer does."""

from busbox.board.attachment import Heard, Listener
from busbox.lines.wave import Wave


class Gong(Listener):
    """Counts the strokes of a hammer."""

    def listen(self, wave: Wave) -> Heard:
        strokes = int((wave.levels[1:] == 1).sum())
        return Heard(rows=[("strokes", str(strokes))], facts={"strokes": strokes})
