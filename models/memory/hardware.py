"""Memory, RAM or ROM of any size, in Amaranth: the twin of :class:`busbox.models.memory.Memory`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, ClassVar

from amaranth.hdl import Module, Mux, unsigned
from amaranth.lib import memory

from busbox.basics.limits import HARDWARE_MEMORY
from busbox.bus.hardware import Hardware, NoteReader
from busbox.bus.wishbone import DATA_BITS
from busbox.device import BusAccess, Host
from busbox.models.memory.declaration import MemoryRegisters
from busbox.models.memory.image import image_words


class MemoryNoteReader(NoteReader):
    """Reports writes to a rom, and reads of words of which no byte has been written."""

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._written = set(_given(settings, host.base, host.size))

    def access(self, access: BusAccess) -> None:
        """Watch an access."""
        offset = access.offset
        if access.write:
            if self.options["kind"] == "rom":
                self.host.event(access.cycle, "rom-write", access.number, offset=offset)
            elif access.lanes:
                self._written.add(offset)
        elif offset not in self._written:
            self.host.event(access.cycle, "uninitialised-read", access.number, offset=offset)


class MemoryHardware(MemoryRegisters, Hardware):
    """A memory: words and settings as :class:`busbox.models.memory.Memory` says.

    Its read port is synchronous, as block memory has it: it takes the address at the end of a
    cycle, and shows the word in the next. So the slot needs a wait state. Words that
    no file provides begin as 0.
    """

    least_wait: ClassVar[int] = 1
    listed: ClassVar[bool] = False
    note_reader = MemoryNoteReader

    def elaborate(self, platform: object) -> Module:
        """Build the bus side too: the words are one memory, not ordinary registers."""
        site, bus = self.site, self.bus
        HARDWARE_MEMORY.check(site.size, "a memory in hardware", f"slot {site.name}")
        m = Module()
        given = _given(self.options, site.base, site.size)
        filled = max(given, default=-4) // 4 + 1
        m.submodules.words = words = memory.Memory(
            shape=unsigned(DATA_BITS),
            depth=site.size // 4,
            init=[given.get(4 * word, 0) for word in range(filled)],
        )
        # The address is on the bus from the cycle in which the access is raised, one before STB: what
        # the port took at the end of that cycle is the word of this one.
        reader = words.read_port()
        m.d.comb += [
            reader.addr.eq(bus.adr),
            bus.read_data.eq(reader.data),
            bus.ack.eq(bus.cyc & bus.stb),
        ]
        if self.options["kind"] == "ram":
            writer = words.write_port(granularity=8)
            m.d.comb += [
                writer.addr.eq(bus.adr),
                writer.data.eq(bus.write_data),
                writer.en.eq(Mux(bus.ack & bus.we, bus.sel, 0)),
            ]
        watcher = words.read_port(domain="comb")
        m.d.comb += [watcher.addr.eq(self.watch_adr), self.watch_data.eq(watcher.data)]
        return m


def _given(settings: Mapping[str, Any], base: int, size: int) -> dict[int, int]:
    """Return the words that the file gives, by offset."""
    return {} if settings["file"] is None else image_words(Path(settings["file"]), base, size)
