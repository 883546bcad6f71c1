"""What a string of lamps was sent, and what it shows, frame by frame.

Two blocks with the same columns, one a frame in order of time, and a row a lamp: what the device meant
to send is above, what the lamps show is below, so that a difference is one look up or down. Between
them, a frame that differs is hatched. Every colour has a letter, which stands in its cells where there
is room, and its number in the legend: the picture can be read without colours. Cells have the colour in
which a screen shows the light of the lamp, not its value (:func:`busbox.lines.colour.on_screen`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from busbox.basics.listing import counted
from busbox.basics.units import show_time
from busbox.lines.colour import on_screen
from busbox.pictures.palette import letter_on
from busbox.pictures.svg import LEADING, MARGIN, SMALL, Look, Sheet, text_width
from busbox.recording import Frame, Recording
from busbox.recording.parts import LineReading

#: Lamps that are drawn, at most.
MOST_LAMPS = 1000
_LABEL, _NARROW, _WIDE, _LETTERS = 64.0, 5.0, 40.0, 26

_Frames = Mapping[int, Frame]


def strings_seen(recording: Recording) -> dict[str, LineReading]:
    """Return the attachments of a run that show frames, by name."""
    return {name: one for name, one in recording.seen.items() if one.frames is not None}


def lamps_picture(recording: Recording, look: Look, name: str | None = None) -> str:
    """Return what lamps were sent and what they show as SVG.

    Parameters
    ----------
    name : of the attachment; None if the bench has one only

    Raises
    ------
    ValueError : there is no such attachment, or not one only; it shows no frame or has too many lamps
    TooNarrow : the frames do not fit
    """
    strings = strings_seen(recording)
    if name is None and len(strings) == 1:
        name = next(iter(strings))
    if name is None or name not in strings:
        raise ValueError(f"name must be one of {', '.join(strings) or 'none'}, not {name!r}")
    seen = strings[name]
    slot = seen.pin.partition(".")[0]
    sent = {one.cycle: one for one in recording.frames.get(slot, ())}
    shown = {one.cycle: one for one in seen.frames or ()}
    cycles = sorted(sent.keys() | shown.keys())
    lamps = max((len(one.colours) for one in (*sent.values(), *shown.values())), default=0)
    if not cycles or lamps > MOST_LAMPS:
        raise ValueError(f"lamps must be 1 to {MOST_LAMPS:,} that show a frame, not {lamps:,}")
    light = recording.light_of(slot)
    return _Strip(recording, cycles, lamps, look).drawn(seen.pin, light, sent, shown)


class _Strip:
    """Columns and rows of the picture."""

    def __init__(self, recording: Recording, cycles: Sequence[int], lamps: int, look: Look) -> None:
        self.sheet = Sheet(look)
        self.clock_hz, self.cycles, self.lamps = recording.clock_hz, cycles, lamps
        room = (look.width - 2 * MARGIN - _LABEL) / len(cycles)
        self.wide = min(_WIDE, max(_NARROW, int(room * 4) / 4))
        self.tall = 15.0 if lamps <= 32 else 6.0
        self.letters: dict[int, str] = {}
        self.on_screen: dict[int, int] = {}

    def drawn(self, pin: str, light: str, sent: _Frames, shown: _Frames) -> str:
        """Return the picture."""
        used = (one.colours for frames in (sent, shown) for one in frames.values())
        colours = sorted({colour for frame in used for colour in frame})
        self.on_screen = {one: on_screen(one, light) for one in colours}
        if len(colours) <= _LETTERS:
            self.letters = {one: chr(ord("a") + place) for place, one in enumerate(colours)}
        title = f"Lamps on {pin}"
        about = self._about(sent, shown)
        y = self.sheet.heading(title, f"A column is a frame, in order of time. {about}")
        if sent:
            y = self._block("sent", sent, y)
            y = self._differences(sent, shown, y)
        y = self._block("shown", shown, y)
        y = self._times(y + 12)
        y = self._legend(colours, y + 8)
        return self.sheet.svg(y + MARGIN - 6, title, about)

    def _about(self, sent: _Frames, shown: _Frames) -> str:
        if not sent:
            return f"{counted(len(shown), 'frame')} shown; what was sent is not known."
        wrong = sum(_differs(sent, shown, cycle) for cycle in self.cycles)
        if not wrong:
            return f"{counted(len(sent), 'frame')}: all are shown as sent."
        return (
            f"{counted(len(self.cycles), 'frame')}; {wrong:,} not shown as sent (orange, hatched)."
        )

    def _x(self, place: int) -> float:
        return MARGIN + _LABEL + place * self.wide

    def _block(self, word: str, frames: _Frames, y: float) -> float:
        self.sheet.text(MARGIN, y + 11, word, bold=True)
        cells = []
        for place, cycle in enumerate(self.cycles):
            colours = frames[cycle].colours if cycle in frames else ()
            for lamp, colour in enumerate(colours):
                cells.append((self._x(place), y + lamp * self.tall, colour))
                self.sheet.swatch(
                    *cells[-1][:2], self.wide - 1, self.tall - 1, self.on_screen[colour]
                )
            if not colours:
                self.sheet.area(
                    self._x(place), y, self.wide - 1, self.lamps * self.tall - 1, "grey"
                )
        if self.letters and self.wide >= 10 and self.tall >= 12:
            # Those in one ink follow each other, so that the file is short.
            for x, top, colour in sorted(cells, key=lambda one: letter_on(self.on_screen[one[2]])):
                self._letter(x + (self.wide - 1) / 2, top + 11, colour)
        return y + self.lamps * self.tall + 4

    def _letter(self, x: float, y: float, colour: int) -> None:
        name = letter_on(self.on_screen[colour])
        self.sheet.text(x, y, self.letters[colour], SMALL, name=name, anchor="middle", mono=True)

    def _differences(self, sent: _Frames, shown: _Frames, y: float) -> float:
        wrong = [place for place, one in enumerate(self.cycles) if _differs(sent, shown, one)]
        if not wrong:
            return y + 6
        self.sheet.text(MARGIN, y + 10, "differs", SMALL)
        for place in wrong:
            self.sheet.area(self._x(place), y + 1, self.wide - 1, 11, "orange")
        return y + 18

    def _times(self, y: float) -> float:
        """Write the times of as many frames as have room."""
        free = 0.0
        for place, cycle in enumerate(self.cycles):
            text = show_time(cycle, self.clock_hz)
            x = self._x(place)
            room = x + text_width(text, 10, mono=True) <= self.sheet.width - MARGIN
            if x >= free and (room or place == 0):
                self.sheet.line([(x, y - 11), (x, y - 6)], "grey")
                self.sheet.text(x, y + 4, text, 10, mono=True)
                free = x + text_width(text, 10, mono=True) + 10
        return y + 8

    def _legend(self, colours: Sequence[int], y: float) -> float:
        if not self.letters:
            text = f"{len(colours):,} colours: too many for a legend."
            self.sheet.text(MARGIN, y + 10, text, SMALL)
            return y + LEADING
        x = float(MARGIN)
        for colour in colours:
            text = f"#{colour & 0xFFFFFF:06X}" + (f" W {colour >> 24}" if colour >> 24 else "")
            wide = 26 + text_width(text, SMALL, mono=True) + 16
            if x > MARGIN and x + wide > self.sheet.width:
                x, y = float(MARGIN), y + LEADING + 3
            self.sheet.swatch(x, y, 18, 15, self.on_screen[colour])
            self._letter(x + 9, y + 11, colour)
            self.sheet.text(x + 25, y + 11, text, SMALL, mono=True)
            x += wide
        return y + LEADING


def _differs(sent: _Frames, shown: _Frames, cycle: int) -> bool:
    one, other = sent.get(cycle), shown.get(cycle)
    return one is None or other is None or one.colours != other.colours
