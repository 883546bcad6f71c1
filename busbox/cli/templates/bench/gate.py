"""The gate of a level crossing: a model of two registers."""

from __future__ import annotations

from busbox import Field, Pin, Register, RegisterModel, RegisterTable, Setting, Write

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
    A write in cycle e that changes LOWER moves the bell in e + 1 and sets MOVING in the cycles
    e + 1 to e + travel; another one while it moves starts anew. DOWN while LOWER is 1 and not MOVING.
    At rest when not MOVING.
    """

    settings = (Setting("travel", 400, low=1, text="cycles that the gate needs to move"),)
    table = RegisterTable(
        Register("COMMAND", 0x00, "rw", "Command to the gate.", (Field("LOWER", 0, 0),)),
        Register(
            "STATUS",
            0x04,
            "ro",
            "State of the gate.",
            (
                Field("DOWN", 0, 0, text="The gate is down."),
                Field("MOVING", 1, 1, text="It is moving."),
            ),
        ),
    )
    pins = (Pin("bell", "output", 0, "Rings while LOWER is 1."),)
    still_from = 0

    def write_COMMAND(self, write: Write) -> None:
        """Start to move if LOWER changes; the written word is already stored."""
        if (write.value ^ write.before) & LOWER:
            self.still_from = write.shows + self.options["travel"]
            self.host.edge("bell", write.shows, write.value & LOWER, write.number)

    def show_STATUS(self) -> int:
        """Return what a read in ``self.cycle`` shows."""
        if self.cycle < self.still_from:
            return MOVING
        return DOWN if self.stored["COMMAND"] & LOWER else 0

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle in which the gate is not moving: the run does not end before."""
        return max(cycle, self.still_from)

    def clear(self) -> None:
        """Reset the state that is not in a register."""
        self.still_from = 0
