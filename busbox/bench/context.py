"""What every table of a bench is built with."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from busbox.basics.errors import no_file
from busbox.basics.toml_lines import KeyPath
from busbox.bench.kept_traffic import KeptTraffic
from busbox.bench.mistakes import Mistakes

_NAME = re.compile(r"[A-Za-z_]\w*")


@dataclass(frozen=True)
class Context:
    """What every table of a bench is built with.

    Attributes
    ----------
    folder : where files that keys name are looked up
    mistakes : where what is wrong is noted
    clock_hz : hertz
    timed : whether the clock is known; if not, ``clock_hz`` stands in for it, and no mistake that
        may follow from that is reported
    slots, attachments : names of all tables of the bench, also of those that are broken
    kept : traffic files that were read before, or None: every file is parsed
    """

    folder: Path
    mistakes: Mistakes
    clock_hz: int
    timed: bool
    slots: tuple[str, ...]
    attachments: tuple[str, ...]
    kept: KeptTraffic | None = None

    def check_name(self, path: KeyPath, name: str, owner: str) -> None:
        """Note an invalid name of what ``owner`` says, such as ``a slot``."""
        if not _NAME.fullmatch(name):
            text = f"{owner} name may contain only letters, digits and _, and must not start with "
            text += f"a digit; got {name!r}"
            self.mistakes.note(path, text)

    def file(self, path: KeyPath, name: str) -> str:
        """Return the file that a key names, looked up beside the bench; note it if there is none."""
        file = self.folder / name
        problem = no_file(file)
        if problem:
            self.mistakes.note(path, problem.replace(repr(str(file)), repr(name), 1))
        return str(file)
