"""The still pictures of a page: map, findings, variants of a sweep, with the colours of the page.

This module is the only one here that draws with :mod:`busbox.pictures`. A picture is drawn in the
colours of light paper, which are replaced by the page's own names for them (``var(--ink)``): so one
picture does for light and dark paper, for forced colours and for print.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from busbox.pictures import Look, finding_picture, fitted, map_picture, sweep_picture
from busbox.pictures.palette import COLOURS
from busbox.pictures.sweep import Table
from busbox.recording import Recording
from busbox.recording.judged import Finding
from busbox.system.system import System

#: As wide as the text on a phone of 390 pixels: nothing is scaled, so that all can be read there.
_LOOK = Look(width=358, transparent=True)
#: As wide as the page on a screen of 1,280 pixels.
_WIDE = Look(width=1200, transparent=True)
#: What a browser that forces its own colours takes for each.
FORCED = {
    "paper": "Canvas",
    "ink": "CanvasText",
    "blue": "LinkText",
    "orange": "CanvasText",
    "purple": "CanvasText",
    "grey": "GrayText",
}


def style() -> str:
    """Return the colours as style sheet: light, dark, forced; printed paper is light."""
    light = _names({name: pair[0] for name, pair in COLOURS.items()})
    dark = _names({name: pair[1] for name, pair in COLOURS.items()})
    return (
        f":root {{ {light} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}\n"
        f"@media (forced-colors: active) {{ :root {{ {_names(FORCED)} }} }}\n"
    )


def _names(colours: dict[str, str]) -> str:
    return " ".join(f"--{name}: {value};" for name, value in colours.items())


def map_still(system: System) -> str:
    """Return the address map to scale, as SVG."""
    return _themed(fitted(lambda look: map_picture(system, look), _LOOK), "map")


def finding_still(system: System, recording: Recording, finding: Finding, number: int) -> str:
    """Return the picture of a finding as SVG, "" where none helps."""
    drawn = finding_picture(recording, finding, _LOOK, system)
    return "" if drawn is None else _themed(drawn, f"f{number}")


def sweep_still(table: Table, keys: Sequence[str]) -> str:
    """Return the variants of a sweep as cells, for wide and narrow screens; "" if they do not fit."""
    try:
        return "".join(
            f"<div class='{name}'>"
            + _themed(fitted(lambda one: sweep_picture(table, keys, one), look), name)
            + "</div>"
            for name, look in (("wide", _WIDE), ("narrow", _LOOK))
        )
    except ValueError:  # no findings measured, too many variants, or a text wider than any sheet
        return ""


def _themed(svg: str, prefix: str) -> str:
    """Return a picture with the page's names of colours, and with ids that no other picture has."""
    svg = re.sub(r"^\s*<\?xml.*?\?>\s*", "", svg)
    for name, (light, _) in COLOURS.items():
        svg = re.sub(re.escape(light), f"var(--{name})", svg, flags=re.IGNORECASE)
    ids = set(re.findall(r'\bid="([^"]+)"', svg))
    for one in sorted(ids, key=len, reverse=True):
        quoted = re.escape(one)
        svg = re.sub(
            rf'(\bid="|url\(#|href="#|aria-labelledby="){quoted}(?=["\s)])',
            rf"\1{prefix}-{one}",
            svg,
        )
    return svg
