"""The bell as a device: one register strikes it."""

from busbox.device import Pin, Register, RegisterModel, RegisterTable, Write


class Bell(RegisterModel):
    """A station bell: a write to STRIKE moves the hammer for so many cycles."""

    table = RegisterTable(Register("STRIKE", 0x00, "wo", "Rings for so many cycles.", width=16))
    pins = (Pin("hammer"),)
    silent_from = 0

    def write_STRIKE(self, write: Write) -> None:
        if self.cycle >= self.silent_from:
            self.silent_from = write.shows + write.value
            self.host.edge("hammer", write.shows, 1, write.number)
            self.host.edge("hammer", self.silent_from, 0, write.number)

    def rest_at(self, cycle: int) -> int:
        return max(cycle, self.silent_from)

    def clear(self) -> None:
        self.silent_from = 0
