"""A string of lamps on a single-wire line: what each lamp shows, and the timing of the line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import join_or, nearest
from busbox.basics.phrases import Phrases
from busbox.basics.units import parse_current
from busbox.board.attachment import Board, Decoder, Explanation, LineReport
from busbox.board.lamp_facts import facts_of
from busbox.board.lamp_findings import LampFindings
from busbox.board.lamp_reading import LampReading, StringOptions
from busbox.board.lamp_rows import Rows
from busbox.board.lamp_sent import explain_frame
from busbox.device import REQUIRED, Setting
from busbox.lines.lamps import judge
from busbox.lines.profiles import CHANNELS, PROFILES, Profile
from busbox.lines.wave import Wave


class LampString(Decoder):
    """Decodes the line as the lamps would, and checks every pulse width.

    A ``profile`` selects the windows. Without it, all profiles are tried, and there is a finding only
    if the line meets none: a board that works must not be called broken. Of the profiles that are met,
    the colours shown are those of the one that latches most frames; of these, with the widest margin.

    Caution
    -------
    A long string draws more current than a board's pin or regulator can give: about 60 mA for each
    lamp at full white (common practice). Feed it from its own supply, fused and sized for it. A 3.3 V
    pin is below the input level of a 5 V string (0.7 of its supply, document 104020171). Flashing
    light can harm people. Local codes and licensed practice decide.
    """

    settings = (
        Setting("count", REQUIRED, low=1, high=65_536, text="Number of lamps.",
                unit="lamps", example=8),
        Setting("channels", 3, low=3, high=4, text="Colour channels per lamp.",
                unit="channels"),
        Setting("order", None, kind="text",
                text="Order of the channels on the wire, such as GRB; default: that of the profile.",
                example="RGB"),
        Setting("profile", None, kind="text",
                text="P1 to P5, or a [profile.NAME] of the bench; default: try all.",
                example="P1"),
        Setting("channel_current", None, kind="current",
                text="Current per channel at full light; default: that of the profile."),
        Setting("light", "linear", kind="text", choices=("linear", "srgb"),
                text="How a value becomes light: linear (duty cycle) or srgb (as on a screen)."),
    )  # fmt: skip
    sends = ("frames",)

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with the order, if it does not name every channel once."""
        order, letters = settings["order"], CHANNELS[settings["channels"]]
        if order is not None and sorted(order) != sorted(letters):
            return f"order must contain each of the letters {letters} once, not {order!r}"
        return None

    def __init__(self, board: Board, **settings: Any) -> None:
        super().__init__(board, **settings)
        self.profiles = self._chosen(settings["profile"])
        channels: int = settings["channels"]
        for profile in self.profiles.values() if settings["profile"] else ():
            if channels not in profile.channels:
                meant = join_or(map(str, profile.channels))
                raise ValueError(
                    f"channels must be {meant} for profile {profile.name}, not {channels}"
                )
        given = settings["channel_current"]
        self.string = StringOptions(
            settings["count"],
            channels,
            settings["order"],
            settings["profile"] is not None,
            None if given is None else parse_current(given),
            settings["light"],
        )
        self._last: LampReading | None = None

    def _chosen(self, name: str | None) -> Mapping[str, Profile]:
        if name is None:
            return PROFILES
        if name not in self.board.profiles:
            known = list(self.board.profiles)
            raise ValueError(
                f"profile must be {join_or(known)}, not {name!r}{nearest(name, known)}"
            )
        return {name: self.board.profiles[name]}

    def decode(self, wave: Wave) -> LineReport:
        """Return what the lamps show, and how the line meets the profiles."""
        reading = self._read(wave)
        frames, shown = reading.read.frames, None
        if reading.read.profile.colours:
            shown = [
                (int(frames.begin[one]), int(frames.shows[one]), frames.colours_of(one))
                for one in reading.latched
            ]
        return LineReport(
            rows=list(Rows(reading).rows()),
            facts=facts_of(reading),
            frames=shown,
            current=reading.current,
            findings=sorted(LampFindings(reading).findings(), key=lambda one: one.tick),
        )

    def describe(self, wave: Wave, tick: int) -> str:
        """Return the bit that a tick is part of."""
        return self.describe_all(wave, np.array([tick])).text(0)

    def describe_all(self, wave: Wave, ticks: NDArray[Any]) -> Phrases:
        """Return the bits that ticks are part of."""
        return self._read(wave).describe_all(ticks)

    def explain(self, wave: Wave, tick: int, sent: tuple[int, ...]) -> Explanation | None:
        """Return the bit that was sent as the other one; None if its own finding explains it."""
        return explain_frame(self._read(wave), tick, sent)

    def _read(self, wave: Wave) -> LampReading:
        """Return the reading of a wave; the last one is cached."""
        if self._last is None or self._last.wave is not wave:
            self._last = self._judged(wave)
        return self._last

    def _judged(self, wave: Wave) -> LampReading:
        string = self.string
        judged = {
            name: judge(wave, one, string.count, string.channels, string.order)
            for name, one in self.profiles.items()
        }
        return LampReading(string, wave, judged)
