"""Copies of a device in Amaranth's simulator, driven at its own port."""

from __future__ import annotations

from collections.abc import Mapping

from amaranth.hdl import Cat

from busbox.check.own.port import signals_of
from busbox.check.port.rig import Copies
from busbox.check.port.subject import Subject


class OwnRig(Copies):
    """Copies of a component, driven at its own port.

    Parameters
    ----------
    subject : one with a port of its own
    copies : number of copies

    Attributes
    ----------
    own : the port
    widths : bits of each role
    words : number of word addresses that an access may have
    """

    def __init__(self, subject: Subject, copies: int = 1) -> None:
        assert subject.own is not None
        self.own = subject.own
        components = [subject.build_own() for _ in range(copies)]
        self._ports = [signals_of(component) for component in components]
        self.widths = {name: len(signal) for name, signal in self._ports[0].items()}
        bits = self.widths[self.own.kind.address[0]] - (0 if self.own.counts_words else 2)
        self.words = min(subject.words or 1 << 30, 1 << max(bits, 0))
        self._shown = [Cat(*(port[name] for name in self.own.shown)) for port in self._ports]
        self._levels = [dict.fromkeys(self.own.driven, 0) for _ in components]
        super().__init__(
            subject.name,
            components,
            lambda: subject.own_program,
            ("bus", "port", "watch_adr"),
        )

    def drive(self, levels: Mapping[str, int], copy: int = 0) -> None:
        """Drive roles of a copy's port from this cycle on."""
        kept = self._levels[copy]
        for name, level in levels.items():
            if kept[name] != level:
                kept[name] = level
                self._context.set(self._ports[copy][name], level)

    def seen(self, copy: int = 0) -> dict[str, int]:
        """Return the levels of every role of a copy's port in this cycle, and ``rst``."""
        word = int(self._context.get(self._shown[copy]))
        levels = {"rst": self._rst, **self._levels[copy]}
        for name in self.own.shown:
            levels[name] = word & (1 << self.widths[name]) - 1
            word >>= self.widths[name]
        return levels
