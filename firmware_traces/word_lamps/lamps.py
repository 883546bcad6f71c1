from busbox.device import Field, Host, Pin, Register, RegisterModel, RegisterTable, Write
from busbox.models.pulse_led import PulseSender, PulseTiming

LAMPS, TIMING = 4, PulseTiming(zero_high=7, one_high=13, period=20, gap=960)
FIELDS = (Field("LAMP", 31, 24), Field("RED", 23, 16), Field("GREEN", 15, 8), Field("BLUE", 7, 0))


class WordLamps(RegisterModel):
    """Lamps set by one word, 0xNNRRGGBB; the frame repeats forever, at rest at the end of its gap."""

    table = RegisterTable(Register("WORD", 0, "wo", "Sets a lamp.", FIELDS, whole=0b1111))
    pins, sends = (Pin("line", carries="frames"),), ("frames",)

    def __init__(self, host: Host, **settings: object) -> None:
        super().__init__(host, **settings)
        self.sender = PulseSender(host, "line", 256, "GRB")  # a colour for every number
        self.clear()

    def clear(self) -> None:
        self.sender.clear(self.cycle + 1)  # the first bit, in the cycle after cycle 0

    def forward(self, cycle: int) -> None:
        self.sender.forward(cycle)
        while (start := self.sender.idle_from) <= cycle:
            self.host.event(start, "frame", colours=self.sender.start(start, LAMPS, TIMING, -1))
            self.sender.forward(cycle)

    def write_WORD(self, write: Write) -> None:
        self.forward(write.shows)  # a lamp that begins in the next cycle keeps its old colour
        self.sender.colours[write.value >> 24] = write.value & 0xFFFFFF

    def next_edge(self, cycle: int) -> int:
        return self.sender.due(cycle) or self.sender.idle_from

    def rest_at(self, cycle: int) -> int:
        self.forward(cycle)
        return max(cycle, self.sender.idle_from - 1)
