"""Still pictures as SVG: each a plain function of facts and a :class:`Look`."""

from __future__ import annotations

from busbox.pictures.access import access_picture
from busbox.pictures.address_map import map_picture
from busbox.pictures.decoding import decode_picture
from busbox.pictures.finding import finding_picture, fitted
from busbox.pictures.lamps import lamps_picture
from busbox.pictures.pins import pins_picture
from busbox.pictures.pulse import pulse_picture
from busbox.pictures.svg import Look, TooNarrow
from busbox.pictures.sweep import sweep_picture
from busbox.pictures.words import words_picture

__all__ = [
    "Look",
    "TooNarrow",
    "access_picture",
    "decode_picture",
    "finding_picture",
    "fitted",
    "lamps_picture",
    "map_picture",
    "pins_picture",
    "pulse_picture",
    "sweep_picture",
    "words_picture",
]
