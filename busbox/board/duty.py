"""Shows how long a pin is on, as a single lamp would."""

from __future__ import annotations

import numpy as np

from busbox.basics.units import show_seconds
from busbox.board.attachment import Decoder, LineReport
from busbox.device import Setting
from busbox.lines.wave import Wave


class Level(Decoder):
    """Shows how often and how long a pin is on.

    A level that is not driven counts as the one before it. The last pulse may continue beyond
    the run: it counts for the share, but not for the shortest and the longest.
    """

    settings = (Setting("on", 1, high=1, text="The level that counts as on."),)

    def decode(self, wave: Wave) -> LineReport:
        """Return times on and share."""
        on = wave.levels == self.options["on"]
        ends = np.append(wave.times[1:], wave.end)[: len(wave.times)]
        lengths = (ends - wave.times)[on]
        whole = lengths[: len(lengths) - int(bool(len(on)) and bool(on[-1]))]
        known = wave.end - int(wave.times[0]) if len(wave.times) else 0
        times, ticks_on = int(on.sum()), int(lengths.sum())
        facts = {
            "times_on": times,
            "ticks_on": ticks_on,
            "ticks": known,
            "shortest": int(whole.min()) if len(whole) else None,
            "longest": int(whole.max()) if len(whole) else None,
            "level": int(wave.levels[-1]) if len(wave.levels) else None,
        }
        share = f"{100 * ticks_on / known:.1f} % of the time" if known else "never driven"
        rows = [("on", f"{'once' if times == 1 else f'{times:,} times'}, {share}")]
        if len(whole):
            shortest, longest = (
                show_seconds(int(n) * wave.tick) for n in (whole.min(), whole.max())
            )
            rows.append(("pulses", f"shortest {shortest}, longest {longest}"))
        state = "not known" if facts["level"] is None else ("on" if on[-1] else "off")
        rows.append(("at the end", state))
        return LineReport(rows, facts)
