"""The gate of a level crossing: a model of two registers."""

from __future__ import annotations

from busbox.device import Field, Pin, Register, RegisterModel, RegisterTable, Setting, Write

LOWER = 1
DOWN, MOVING = 1, 2


class Gate(RegisterModel):
    """The gate of a level crossing, with a bell.

    Registers
    ---------
    ==== ======= == = ==========================================
    0x00 COMMAND rw 0 bit 0 LOWER: 1 lowers the gate, 0 lifts it
    0x04 STATUS  ro 0 bit 0 DOWN, bit 1 MOVING
    ==== ======= == = ==========================================

    Pins
    ----
    ``bell`` output, 0 after reset: rings while LOWER is 1.

    Timing
    ------
    A write in cycle e that changes LOWER: the bell from e + 1, MOVING in the cycles e + 1 to
    e + travel; one that comes while it moves begins anew. DOWN while LOWER is 1 and nothing moves.
    At rest when not MOVING.
    """

    settings = (Setting("travel", 400, low=1, text="cycles that the gate takes"),)
    table = RegisterTable(
        Register("COMMAND", 0x00, "rw", "What the gate shall do.", (Field("LOWER", 0, 0),)),
        Register(
            "STATUS",
            0x04,
            "ro",
            "What the gate does.",
            (Field("DOWN", 0, 0, text="It is down."), Field("MOVING", 1, 1, text="It moves.")),
        ),
    )
    pins = (Pin("bell", "output", 0, "Rings while LOWER is 1."),)
    still_from = 0

    def write_COMMAND(self, write: Write) -> None:
        """Start to move, if LOWER changes; the word written is stored already."""
        if (write.value ^ write.before) & LOWER:
            self.still_from = write.shows + self.options["travel"]
            self.host.edge("bell", write.shows, write.value & LOWER, write.number)

    def show_STATUS(self) -> int:
        """Show what a read in ``self.cycle`` gives."""
        if self.cycle < self.still_from:
            return MOVING
        return DOWN if self.stored["COMMAND"] & LOWER else 0

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle in which the gate stands still: the run does not end before."""
        return max(cycle, self.still_from)

    def clear(self) -> None:
        """Reset what is in no register."""
        self.still_from = 0
