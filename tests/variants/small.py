"""A small bench for sweeps, and functions that processes can find."""

from __future__ import annotations

import os
from pathlib import Path

from busbox import Recording
from busbox.bench.bench import Bench

BENCH = """\
clock = "16 MHz"

[slot.levers]
model = "gpio"
base = 0x4000_0000
size = 0x1000

[slot.telegraph]
model = "uart"
base = 0x4000_1000
size = 0x1000
divisor = 16

[slot.lamps]
model = "pulse_led"
base = 0x4400_0000
size = 0x1000
lamps = 2

[attach.string]
kind = "lamp_string"
pin = "lamps.line"
count = 2
profile = "P4"

[traffic]
file = "evening.steps"

[[expect]]
text = { of = "telegraph", is = "go" }

[variant.slow]
clock = "8 MHz"

[sweep]
vary = { "slot.levers.wait" = [0, 3] }
measure = ["cycles", "findings"]
"""
STEPS = """\
write levers.OUT 1
write telegraph.DATA 0x67
poll telegraph.STATUS & 1 == 1 every 12
write telegraph.DATA 0x6f
poll telegraph.STATUS & 1 == 1 every 12
write lamps.COUNT 2
write lamps.HIGH 0x000d0007
write lamps.PERIOD 0x03c00014
write 0x44000100 0x400000
write 0x44000104 0x004000
write lamps.CONTROL 1
poll lamps.STATUS & 1 == 0 every 12
pause 20 us
write lamps.CONTROL 1
read levers.OUT = 1
"""
#: Measures in a file, for ``checks.py:NAME``.
CHECKS = """\
import os, signal, time
from pathlib import Path

def edges(recording):
    return len(recording.lines["lamps.line"].cycles) - 1

def wrong(recording):
    return [1]

def breaks(recording):
    raise ZeroDivisionError("no")

def slow(recording):
    time.sleep(0.2)
    return 1

def kills_once(recording):
    flag = Path(__file__).with_name("killed")
    if not flag.exists():
        flag.write_text("x")
        os.kill(os.getpid(), signal.SIGKILL)
    return 1
"""


def write_bench(folder: Path) -> Bench:
    """Write the bench with its files, and return it."""
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "evening.steps").write_text(STEPS, encoding="utf-8")
    (folder / "checks.py").write_text(CHECKS, encoding="utf-8")
    return Bench.load(folder)


def run(bench: Bench, *values: str) -> Recording:
    """Run it with changes on the engine python."""
    return bench.with_values(values).run("python")


def alive(pid: int) -> bool:
    """Return whether a process is there."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True
