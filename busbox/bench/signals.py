"""``[traffic.signals]``: which signal of a waveform or of a table of samples is what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from busbox.basics.errors import InputError, format_value
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.formats.contract import Format, SignalRequest
from busbox.map.slots import AddressMap
from busbox.system.hardware import Device

_PATH: KeyPath = ("traffic", "signals")


class Imported:
    """A file of signals, as a bench plays it.

    Attributes
    ----------
    format : reads the file; None if the map has a mistake
    notes : what a reader of the run should know, once the file has been read
    """

    def __init__(
        self, found: Format, given: object, devices: Sequence[Device], context: Context
    ) -> None:
        self.format: Format | None = None
        self.notes: tuple[str, ...] = ()
        note = context.mistakes.note
        if not isinstance(given, Mapping):
            note(_PATH, f"must be a table, [traffic.signals], not {format_value(given)}")
            return
        if found.of_signals is None:
            note(_PATH, "must not be given: the file of the traffic holds steps, not signals")
            return
        slots = AddressMap([device.slot for device in devices])
        request = SignalRequest(
            given,
            lambda key, text: context.mistakes.mistake((*_PATH, key) if key else _PATH, text),
            context.clock_hz,
            lambda address: slots.decode(address).slot is not None,
            tell=self._tell,
        )
        try:
            self.format = found.of_signals(request)
        except InputError as error:
            context.mistakes.add(error.mistakes)

    def _tell(self, notes: tuple[str, ...]) -> None:
        self.notes = tuple(f"Traffic: {note}." for note in notes)
