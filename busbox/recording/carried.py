"""The bench that a recording carries: what is needed to judge, explain and replay it elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

#: Bytes of files that a recording carries at most.
MOST_BYTES = 64 << 20


@dataclass(frozen=True)
class CarriedBench:
    """A bench as it was run, with the files that it names.

    Attributes
    ----------
    tables : the keys of the bench as run, changed values included; as JSON holds them
    folder : the bench's folder among the files, such as ``0`` or ``0/interrupted``
    files : name, with /, to contents
    labels : path of a key (``slot.bell.model``) to the text that the bench had there, where its file
        is carried under another name
    objects : path of a key to ``module:Class`` or ``module:function``, for what was given as a Python
        object that can be imported again
    lacks : why the bench cannot be reopened, "" if it can
    replay_lacks : why it can be reopened but not replayed, "" if it can
    """

    tables: Mapping[str, Any] = field(default_factory=dict)
    folder: str = "0"
    files: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    labels: Mapping[str, str] = field(default_factory=dict)
    objects: Mapping[str, str] = field(default_factory=dict)
    lacks: str = ""
    replay_lacks: str = ""

    def facts(self) -> dict[str, Any]:
        """Return everything except the contents of the files, for JSON."""
        return {one.name: getattr(self, one.name) for one in fields(self)} | {
            "files": list(self.files)
        }

    def stray_name(self) -> str | None:
        """Return the name of a file that might lead out of where it is unpacked, or None."""
        return next((name for name in (*self.files, self.folder) if not is_plain(name)), None)


def is_plain(name: str) -> bool:
    """Return whether a name with / stays inside the folder where it is unpacked, on any system."""
    return not ({"", ".", ".."} & set(name.split("/")) or set(name) & set("\\:\0"))
