"""A serial port without a status register: a write waits on the bus until there is room."""

from busbox.device import (
    Answer,
    BusAccess,
    Field,
    Hold,
    Host,
    Pin,
    Register,
    RegisterModel,
    RegisterTable,
    Setting,
    Write,
)
from busbox.models.uart import SerialSender


class HoldingPort(RegisterModel):
    """Sends the low byte of DATA; a write in e ends when there is room, so no byte is ever lost."""

    settings = (Setting("divisor", 139, low=1, high=0xFFFF, text="clocks per bit"),)
    table = RegisterTable(Register("DATA", 0, "wo", "Sends.", (Field("BYTE", 7, 0),), whole=0b0001))
    pins = (Pin("tx", "output", 1, carries="text"),)
    sends = ("text",)

    def __init__(self, host: Host, **settings: int) -> None:
        super().__init__(host, **settings)
        self.sender = SerialSender(host, "tx", settings["divisor"])

    def forward(self, cycle: int) -> None:
        self.sender.forward(cycle)

    def access(self, access: BusAccess) -> Answer:
        self.advance(access.cycle)
        full = access.write and access.lanes & 1 and not self.sender.room
        return Hold(self.sender.due()) if full else super().access(access)

    def write_DATA(self, write: Write) -> None:
        self.sender.put(write.cycle, write.value & 0xFF, write.number)

    def next_edge(self, cycle: int) -> int | None:
        return self.sender.due()

    def rest_at(self, cycle: int) -> int:
        return self.sender.rest_at(cycle)

    def clear(self) -> None:
        self.sender.clear(self.cycle)
