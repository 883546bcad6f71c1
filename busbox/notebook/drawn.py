"""The still picture of what a notebook shows: one function a class, None where there is none.

Nothing is run for a picture, as a cell that shows a recording must not run the bench inside it.
"""

from __future__ import annotations

from collections.abc import Iterator

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.exports.brief import first_findings
from busbox.map.slots import AddressMap
from busbox.pictures import Look, finding_picture, fitted, lamps_picture, map_picture, sweep_picture
from busbox.pictures.lamps import strings_seen
from busbox.recording import Finding, Recording
from busbox.variants.sweep import Sweep

#: Findings of a recording that are shown with a picture, at most.
PICTURED = 4


def bench(shown: Bench) -> str | None:
    """Return the address map of a bench, if its slots are valid."""
    try:
        return address_map(AddressMap([device.slot for device in shown.devices()]))
    except InputError:
        return None


def address_map(shown: AddressMap) -> str | None:
    """Return the map to scale."""
    return fitted(lambda look: map_picture(shown, look), Look())


def recording(shown: Recording) -> str | None:
    """Return what the lamps of a run were sent and show, if there is one string, and if it fits."""
    if len(strings_seen(shown)) != 1:
        return None
    try:
        return lamps_picture(shown, Look())
    except ValueError:
        return None


def findings(shown: Recording) -> Iterator[str]:
    """Yield the pictures of the first finding of each rule, as many as :data:`PICTURED`.

    The picture of the whole run is not repeated. A run that has no system any more, as its bench was
    left out or names a file that is gone, has only pictures that need none.
    """
    whole, count = recording(shown), 0
    for _, _, number, one in first_findings(shown):
        try:
            picture = finding_picture(shown, one, Look())
        except InputError:
            continue
        if picture is None or picture == whole:
            continue
        yield f"<p>finding.{number}</p>\n{picture}"
        count += 1
        if count == PICTURED:
            return


def finding(shown: Finding) -> None:
    """Return nothing: a finding alone does not know its run."""


def sweep(shown: Sweep) -> str | None:
    """Return the variants as cells, if their findings were measured and they fit."""
    keys = [axis.key for axis in shown.axes]
    try:
        return sweep_picture(shown, keys, Look())
    except ValueError:
        return None
