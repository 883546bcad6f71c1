"""Draw the pictures of README.md from runs: ``python -m tests.pictures.draw_readme [FOLDER]``.

Each picture is what one call of ``busbox draw`` makes. ``tests/pictures/test_readme.py`` compares the
files in ``readme`` with what this script makes, and README.md with the calls.
"""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

from busbox.cli import main as busbox

FOLDER = Path(__file__).parent / "readme"
#: Name of a picture to the words that draw it, after ``busbox draw``.
PICTURES = {
    "lamps": "signal_cabin lamps",
    "decode": "first_light decode 0x44000008 --set slot.lamps.base=0x44010000",
    "pulse": "first_light pulse 0 --set 'clock=12 MHz'",
}


def draw(name: str, folder: Path) -> Path:
    """Draw a picture into a folder and return the file."""
    file = folder / f"{name}.svg"
    try:
        busbox(["draw", *shlex.split(PICTURES[name]), "-o", str(file)])
    except SystemExit as ended:
        if ended.code:
            raise
    return file


if __name__ == "__main__":
    for picture in PICTURES:
        print(draw(picture, Path(sys.argv[1]) if sys.argv[1:] else FOLDER))
