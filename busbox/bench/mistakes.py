"""Collects the mistakes of a bench, each with its line."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from busbox.basics.errors import InputError, Mistake
from busbox.basics.toml_lines import KeyPath


class Mistakes:
    """The mistakes of one bench and of the files that it names.

    Parameters
    ----------
    file : the file of the bench, "" if it has none
    place : gives the file and the line of a key, or of what changed its value: ``--set`` and None
        for the command line
    changed : the paths of the values that were changed
    """

    def __init__(
        self,
        file: str,
        place: Callable[[KeyPath], tuple[str, int | None]],
        changed: Collection[KeyPath] = (),
    ) -> None:
        self._file, self._place = file, place
        self.changed = changed
        self._found: list[Mistake] = []

    def __len__(self) -> int:
        return len(self._found)

    def note(self, path: KeyPath, text: str) -> None:
        """Note a mistake at a key."""
        self._found.append(self.mistake(path, text))

    def mistake(self, path: KeyPath, text: str) -> Mistake:
        """Return a mistake at a key, without noting it."""
        where, line = self._place(path)
        return Mistake(text, where, line, ".".join(map(str, path)))

    def add(self, mistakes: Iterable[Mistake]) -> None:
        """Take mistakes that have a place already, such as those of another file."""
        self._found.extend(mistakes)

    def withdraw_missing(self, path: KeyPath) -> None:
        """Forget that a key is missing: a misspelt key beside it is the mistake."""
        key = ".".join(map(str, path))
        self._found = [
            mistake
            for mistake in self._found
            if mistake.key != key or not mistake.text.startswith("must be given")
        ]

    def inside(self, path: KeyPath) -> bool:
        """Return whether a mistake was noted at a key of a table."""
        start = ".".join(map(str, path)) + "."
        return any(mistake.key.startswith(start) for mistake in self._found)

    def is_set(self, path: KeyPath) -> bool:
        """Return whether a key was changed, or something around it."""
        return any(path[:length] in self.changed for length in range(1, len(path) + 1))

    def raise_any(self) -> None:
        """Raise what was noted: of the bench, of ``--set``, of other files, each by line.

        Raises
        ------
        InputError : there is a mistake
        """
        if not self._found:
            return
        files = list(dict.fromkeys(mistake.where for mistake in self._found))
        files.sort(key=lambda where: (where != self._file, not where.startswith("--")))

        def place(mistake: Mistake) -> tuple[int, bool, int]:
            return files.index(mistake.where), mistake.line is None, mistake.line or 0

        raise InputError(sorted(self._found, key=place))
