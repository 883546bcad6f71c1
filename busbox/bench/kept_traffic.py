"""Traffic files that were read before: a worker that runs many variants of a bench parses each once."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path

from busbox.basics.files import opened
from busbox.cpu.listed import ListedSource
from busbox.formats.contract import Format
from busbox.plugins import FORMATS, find

#: Files whose steps are kept at once; of each, at most as many as a source keeps.
FILES = 4


class KeptTraffic:
    """The steps of the last few traffic files.

    A file is parsed again unless path, format and all of its bytes are the same. Formats that come with
    Busbox read nothing but those bytes; a file in any other format is always parsed.
    """

    def __init__(self) -> None:
        self._sources: OrderedDict[tuple[Path, Format, bytes], ListedSource] = OrderedDict()
        self._lock = threading.Lock()

    def source(self, path: Path, format: Format, parse: Callable[[], ListedSource]) -> ListedSource:
        """Return the source of a file: the one kept, or that which ``parse`` returns.

        Raises
        ------
        InputError : the file cannot be read, or what ``parse`` raises
        """
        if not any(format is find(FORMATS, name) for name in FORMATS.built_in):
            return parse()
        key = path, format, _digest(path)
        with self._lock:
            found = self._sources.get(key)
            if found is not None:
                self._sources.move_to_end(key)
                return found
        found = parse()
        if _digest(path) == key[2]:  # it was not changed meanwhile
            with self._lock:
                self._sources[key] = found
                while len(self._sources) > FILES:
                    self._sources.popitem(last=False)
        return found


def _digest(path: Path) -> bytes:
    with opened(path) as file:
        return hashlib.file_digest(file, "sha256").digest()  # type: ignore[arg-type]
