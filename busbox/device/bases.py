"""Base classes for models in Python.

:class:`RegisterModel` does offsets, lanes and access rights from the declaration, and calls a small
hook for a register that does something. A device of two registers is about 20 lines::

    class Bell(RegisterModel):
        table = RegisterTable(
            Register("STRIKE", 0x00, "wo", "Rings for so many cycles.", width=16),
            Register("STATUS", 0x04, "ro", "Bit 0: it rings.", (Field("RINGING", 0, 0),)),
        )
        pins = (Pin("hammer"),)
        silent_from = 0

        def write_STRIKE(self, write: Write) -> None:
            if self.cycle >= self.silent_from:
                self.silent_from = write.shows + write.value
                self.host.edge("hammer", write.shows, 1, write.number)
                self.host.edge("hammer", self.silent_from, 0, write.number)

        def show_STATUS(self) -> int:
            return int(self.cycle < self.silent_from)

        def rest_at(self, cycle: int) -> int:
            return max(cycle, self.silent_from)

        def clear(self) -> None:
            self.silent_from = 0

:class:`CycleModel` calls ``tick`` once for every cycle: slower, and nothing to think about.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from busbox.basics.declaring import Named
from busbox.basics.hooks import refuse, wanted
from busbox.device.contract import Answer, BusAccess, Declaration, Host
from busbox.device.past import NO_ACCESS
from busbox.map.registers import WORD, Place, lane_mask

WORD_BITS = 32
#: What a hook that shows a register returns.
RULE = "a word from 0 to 0xffffffff"


@dataclass(slots=True)
class Write:
    """A write as a hook sees it, after the declaration has been applied.

    Attributes
    ----------
    cycle : the cycle in which it ends
    index : number of the register in its row, 0 for a single one
    value : the word now stored (rights ``rw``, ``wo``)
    ones : the ones that were written in selected lanes (rights ``ones_act``, ``ones_clear``)
    before : the word that was stored
    number : the access in the recording
    """

    cycle: int
    index: int
    value: int
    ones: int
    before: int
    number: int

    @property
    def shows(self) -> int:
        """The first cycle that shows what the write did."""
        return self.cycle + 1


class _Cell:
    """One register of one model, ready for dispatch."""

    __slots__ = (
        "cacheable_until", "clears", "indexed", "name", "place", "readable", "show", "stores", "taken",
        "whole", "writable", "written",
    )  # fmt: skip

    def __init__(self, model: RegisterModel, place: Place) -> None:
        register = place.register
        self.place = place
        self.name = place.name
        self.indexed = bool(register.count)
        self.stores = register.mask("rw", "wo")
        self.clears = register.mask("ones_clear")
        self.writable = register.mask("rw", "wo", "ones_clear", "ones_act")
        self.readable = register.mask("rw", "ro", "ones_clear")
        self.whole = register.whole
        self.show: Callable[..., int] | None = getattr(model, f"show_{register.name}", None)
        self.cacheable_until: Callable[[], int | None] | None = getattr(
            model, f"cacheable_until_{register.name}", None
        )
        self.taken: Callable[..., bool | None] | None = getattr(
            model, f"read_{register.name}", None
        )
        self.written: Callable[[Write], None] | None = getattr(
            model, f"write_{register.name}", None
        )

    def takes_write(self, lanes: int) -> bool:
        """Return whether a write with these lanes reaches the register."""
        return bool(lanes) and lanes & self.whole == self.whole

    def acts_on_write(self, lanes: int) -> bool:
        """Return whether a write with these lanes stores, clears or starts something."""
        acts = self.written is not None or bool(lane_mask(lanes) & self.writable)
        return acts and self.takes_write(lanes)


class RegisterModel(Declaration):
    """A model that is nothing but its registers, plus hooks for those that do something.

    A subclass declares ``table`` and ``pins`` (or ``table_for`` and ``pins_for``, if they depend on
    settings) and ``settings``, and defines any of these:

    ``forward(cycle)``
        bring the device to ``cycle``; called before everything else
    ``show_NAME()``
        the word that a read of NAME shows in ``self.cycle``; without it, what is stored
    ``cacheable_until_NAME()``
        the first cycle in which ``show_NAME`` may give another word by itself, None if it never does;
        without it, no word is cacheable (contract of a model, 10)
    ``read_NAME(number)``
        side effects of a read by access ``number``; shows from the next cycle; it may return False
        to say that this read did nothing
    ``write_NAME(write)``
        what a write does in addition to storing; shows from the next cycle
    ``input(cycle, pin, level)``, ``wake(cycle)``, ``next_edge(cycle)``, ``rest_at(cycle)``
        as in the contract
    ``clear()``
        put what is not in ``stored`` to its reset value

    For a row of registers the hooks ``show_`` and ``read_`` get the index first.

    Attributes
    ----------
    host : the model's surroundings
    cycle : the cycle of the present call
    stored : register name to the word stored (bits of ``rw``, ``wo``, ``ones_clear`` fields)
    """

    def __init__(self, host: Host, **settings: Any) -> None:
        self.host = host
        self.options: dict[str, Any] = Named(f"{host.name} has no setting", settings)
        self.cycle = 0
        self.stored: dict[str, int] = Named(f"{host.name} has no register", {})
        self._cells: dict[int, _Cell] = {}
        table = self.table_for(settings, host.size)
        table = table.with_resets(self.resets_for(settings, host.clock_hz))
        for offset, place in table.places():
            self._cells[offset] = _Cell(self, place)
        self._store_reset_values(kept=False)

    def _store_reset_values(self, *, kept: bool) -> None:
        for cell in self._cells.values():
            if not (kept and cell.place.register.kept):
                self.stored[cell.name] = cell.place.register.reset_value

    # Hooks of a subclass.

    def forward(self, cycle: int) -> None:
        """Bring what moves by itself to ``cycle``."""

    def clear(self) -> None:
        """Put what is not in ``stored`` to its reset value, as of ``self.cycle``."""

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Take an input level; a device without inputs never gets one."""

    def wake(self, cycle: int) -> None:
        """Do what is due in ``cycle``."""

    def next_edge(self, cycle: int) -> int | None:
        """Return when an output may change by itself: never, for a device without such pins."""
        return None

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle at rest: at once, for a device that does nothing by itself."""
        return cycle

    # The contract.

    def advance(self, cycle: int) -> None:
        """Bring the device to ``cycle``."""
        self.forward(cycle)
        self.cycle = max(self.cycle, cycle)

    def close(self, cycle: int) -> None:
        """End the run; overridden by a device that reports what it does by itself."""
        self.advance(cycle)

    def access(self, access: BusAccess) -> Answer:
        """Answer an access from the declaration and the hooks."""
        self.advance(access.cycle)
        cell = self._cells.get(access.offset)
        if cell is None:
            return 0
        if access.write:
            self._write(cell, access)
            return 0
        word = self._show(cell)
        if cell.cacheable_until is not None:
            self.host.cacheable_until(cell.cacheable_until())
        if cell.taken is not None and access.lanes & cell.whole == cell.whole:
            self._take(cell, access)
        return word

    def reset(self, cycle: int, length: int) -> None:
        """Reset: everything is as in ``cycle + length``, the cycle that plays the part of cycle 0."""
        self.close(cycle)
        self.cycle = cycle + length
        self._store_reset_values(kept=True)
        self.clear()

    def registers(self) -> dict[str, int]:
        """Return what a read of each register would show in ``self.cycle``."""
        return {cell.name: self._show(cell) for cell in self._cells.values()}

    def peek(self, offset: int) -> int:
        """Return what a read at ``offset`` would show in ``self.cycle``; 0 in a hole."""
        cell = self._cells.get(offset)
        return 0 if cell is None else self._show(cell)

    def _show(self, cell: _Cell) -> int:
        if cell.show is None:
            return self.stored[cell.name] & cell.readable
        word = cell.show(cell.place.index) if cell.indexed else cell.show()
        try:
            fits = not word >> WORD_BITS
        except (TypeError, ValueError):
            fits = False
        if not fits:
            refuse(wanted(f"show_{cell.place.register.name}", RULE, word), cell.show)
        return int(word) & cell.readable

    def _take(self, cell: _Cell, access: BusAccess) -> bool:
        """Apply the side effects of a read; return whether there may have been any."""
        assert cell.taken is not None
        row = (cell.place.index,) if cell.indexed else ()
        return cell.taken(*row, access.number) is not False

    def _write(self, cell: _Cell, access: BusAccess) -> None:
        if not cell.takes_write(access.lanes):
            return
        lanes = lane_mask(access.lanes)
        before = self.stored[cell.name]
        ones = access.data & lanes & cell.writable
        keep = WORD & ~(lanes & cell.stores) & ~(ones & cell.clears)
        value = before & keep | ones & cell.stores
        self.stored[cell.name] = value
        if cell.written is not None:
            cell.written(Write(access.cycle, cell.place.index, value, ones, before, access.number))


class CycleModel(RegisterModel):
    """A model that is called for every cycle, for those who think in clock edges.

    ``tick(cycle)`` is called once for the edge that ends each cycle, and sees ``stored`` as of that
    cycle; what it changes shows from the next. A write that ends in the same cycle is stored after
    it; bits that tick sets with :meth:`raise_bits` win over a clear by that write. Pins are set with
    :meth:`drive`. ``busy()`` says whether the device is not at rest.

    The cause of an edge is the last access that acted before it, since the last reset: a write that
    reached a bit or a hook, or a read with a hook ``read_NAME`` that did not return False. A plain read
    is never one.
    """

    def __init__(self, host: Host, **settings: Any) -> None:
        super().__init__(host, **settings)
        self._raised: dict[str, int] = {}
        self._cause = NO_ACCESS

    def tick(self, cycle: int) -> None:
        """Do what the edge at the end of ``cycle`` does."""

    def busy(self) -> bool:
        """Return whether the device is under way in ``self.cycle``."""
        return False

    def raise_bits(self, register: str, bits: int) -> None:
        """Set stored bits from inside ``tick``; they win over a clear by firmware."""
        self.stored[register] |= bits
        self._raised[register] = self._raised.get(register, 0) | bits

    def drive(self, pin: str, level: int, access: int | None = None) -> None:
        """Give an output pin a level from the next cycle on.

        Parameters
        ----------
        access : what caused it, or ``NO_ACCESS``; without it, the last access that acted
        """
        self.host.edge(pin, self.cycle + 1, level, self._cause if access is None else access)

    def forward(self, cycle: int) -> None:
        """Tick up to ``cycle``."""
        while self.cycle < cycle:
            self._raised.clear()
            self.tick(self.cycle)
            self.cycle += 1

    def access(self, access: BusAccess) -> Answer:
        """Answer an access; a write meets the edge's own changes as described above."""
        self.forward(access.cycle)
        if not access.write:
            return super().access(access)
        self._raised.clear()
        self.tick(access.cycle)
        answer = super().access(access)
        for register, bits in self._raised.items():
            self.stored[register] |= bits
        self.cycle = access.cycle + 1
        return answer

    def reset(self, cycle: int, length: int) -> None:
        """Reset; no access of before is the cause of what comes after."""
        super().reset(cycle, length)
        self._cause = NO_ACCESS

    def _take(self, cell: _Cell, access: BusAccess) -> bool:
        before, self._cause = self._cause, access.number
        acted = super()._take(cell, access)
        if not acted:
            self._cause = before
        return acted

    def _write(self, cell: _Cell, access: BusAccess) -> None:
        if cell.acts_on_write(access.lanes):
            self._cause = access.number
        super()._write(cell, access)

    def next_edge(self, cycle: int) -> int | None:
        """Return the next cycle: any tick may move a pin."""
        return cycle + 1

    def rest_at(self, cycle: int) -> int:
        """Return ``cycle`` if at rest in it, else the next cycle: it is asked again there."""
        self.forward(cycle)
        return cycle + 1 if self.busy() else cycle
