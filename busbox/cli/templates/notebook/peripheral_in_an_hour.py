# ---
# jupyter:
#   jupytext:
#     text_representation:
#       extension: .py
#       format_name: percent
#   kernelspec:
#     display_name: Python 3
#     language: python
#     name: python3
# ---

# %% [markdown]
# # A peripheral in an hour
#
# The signal cabin has a bell. Firmware writes a number of cycles into a register, and the hammer is
# driven for as long. In this notebook you look at a bench that is there, write the bell as a model, run
# a driver against it, find out why something is wrong, and compare clocks in a table.
#
# Every cell can be changed and run again. A bench, a recording, a finding and a sweep show themselves
# when they are the last line of a cell.

# %% [markdown]
# ## 1. A bench and its run (10 minutes)
#
# `first_light` comes with Busbox: levers on a port, a telegraph on a serial line, lamps on a string.

# %%
from typing import Any

import busbox

cabin = busbox.load_bench("first_light")
cabin

# %%
evening = cabin.run()
evening

# %% [markdown]
# The accesses are a structured array of NumPy, one row an access. A library of data frames takes it as
# it is: `pandas.DataFrame(accesses)` or `polars.DataFrame(accesses)`.

# %%
accesses = evening.table("accesses")
print(accesses.dtype.names)
print(len(accesses), "accesses; the longest took", (accesses["end"] - accesses["start"]).max() + 1)

# %% [markdown]
# ## 2. The bell as a model (20 minutes)
#
# Registers come first: what firmware sees. `STRIKE` takes the number of cycles; `STATUS` says whether
# the bell rings. A pin leads to the hammer.
#
# `write_STRIKE` is called where a write ends. What it changes shows in the next cycle, `write.shows`.


# %%
class Bell(busbox.RegisterModel):
    """A station bell: STRIKE drives the hammer for so many cycles, unless it is driven already."""

    table = busbox.RegisterTable(
        busbox.Register("STRIKE", 0x00, "wo", "Cycles to ring.", width=16),
        busbox.Register("STATUS", 0x04, "ro", "What it does.", (busbox.Field("RINGING", 0, 0),)),
    )
    pins = (busbox.Pin("hammer"),)
    silent_from = 0

    def write_STRIKE(self, write: busbox.Write) -> None:
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


# %% [markdown]
# ## 3. A driver (10 minutes)
#
# Traffic may be a Python function. This one rings twice, and waits in between until the bell is silent.


# %%
def ring_twice(bus: Any) -> None:
    for cycles in (30, 12):
        bus.write("bell.STRIKE", cycles)
        while bus.read("bell.STATUS"):
            bus.pause(4)


keys = {
    "clock": "1 MHz",
    "slot": {"bell": {"model": Bell, "base": 0x4000_0000, "size": 8}},
    "traffic": ring_twice,
}
station = busbox.Bench(keys, name="station")
rung = station.run()
rung

# %% [markdown]
# The pin tells what the hammer did: cycles, and the level from each of them on.

# %%
cycles, levels = rung.edges("bell.hammer")
list(zip(cycles.tolist(), levels.tolist(), strict=True))

# %% [markdown]
# ## 4. What is wrong, and why (10 minutes)
#
# A driver with a wrong address: nothing answers there. The finding says what to look at.


# %%
def ring_elsewhere(bus: Any) -> None:
    bus.write(0x4000_1000, 30)


wrong = busbox.Bench(keys | {"traffic": ring_elsewhere}, name="station").run()
wrong.findings[0]

# %% [markdown]
# ## 5. Many variants (10 minutes)
#
# How busy is the bus with more wait states? A sweep runs the bench once for every value of a key.

# %%
waits = {"slot.lamps.wait": [0, 1, 2, 3]}
table = busbox.sweep(cabin, waits, ["cycles", "bus_use", "findings"], jobs=1)
table

# %% [markdown]
# What next: `busbox guide tutorial` makes hardware of such a model, and `busbox new device` begins one
# with tests.
