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
# # Which address reaches what
#
# Twelve lessons on address decoding. A task shows itself with its picture. `check` puts your answer
# into a bench, runs it, and says what happened on the bus. Each answer below is a typical wrong one:
# change it and run the cell again. Each try that does not pass earns a hint, the third one the worked
# solution.
#
# `Task(1, seed=2)` is the same lesson with other numbers; `busbox lesson` is the same in a terminal.

# %%
from busbox.notebook.lesson import Task

# %% [markdown]
# ## 1. First light (5 minutes)
#
# You learn: a write to an address does something; bits count from 0.

# %%
lesson_1 = Task(1)
lesson_1

# %%
lesson_1.check(address=0x400A0000, data=0x4)

# %% [markdown]
# ## 2. Parts of an address (6 minutes)
#
# You learn: compared part, offset, lane; a cut may go through a digit.

# %%
lesson_2 = Task(2)
lesson_2

# %%
lesson_2.check(compared=0x00020003, offset=0xFCC, lane=2)

# %% [markdown]
# ## 3. Sizes and powers of two (5 minutes)
#
# You learn: n bits inside are 2^n bytes; sizes are rounded up.

# %%
lesson_3 = Task(3)
lesson_3

# %%
lesson_3.check(size=110592, inside=17, compared=15)

# %% [markdown]
# ## 4. Bases and aligned windows (7 minutes)
#
# You learn: a base is a multiple of the size; last = base + size - 1.

# %%
lesson_4 = Task(4)
lesson_4

# %%
lesson_4.check(base=0x2000F91C, last=0x2000FFFF, next=0x20010000)

# %% [markdown]
# ## 5. Byte lanes (8 minutes)
#
# You learn: a byte at address A travels on lane A mod 4; SEL.

# %%
lesson_5 = Task(5)
lesson_5

# %%
lesson_5.check(
    address=0x20001414,
    data=0xCD,
    sel="0001",
    after=0x1716CD60,
    half_data=0xCE950000,
    half_sel="1100",
)

# %% [markdown]
# ## 6. Offset, register, hole (5 minutes)
#
# You learn: an offset without a register ends with ACK all the same.

# %%
lesson_6 = Task(6)
lesson_6

# %%
lesson_6.check(address=0x40005003, data=0x6, at_in="ignored", at_hole="ignored")

# %% [markdown]
# ## 7. Partial decoding and images (9 minutes)
#
# You learn: k bits that nobody looks at make 2^k images.

# %%
lesson_7 = Task(7)
lesson_7

# %%
lesson_7.check(images=12, another=0x4C001008, lowest=15, left=8)

# %% [markdown]
# ## 8. Overlap and priority (7 minutes)
#
# You learn: a small window inside a large one needs an order.

# %%
lesson_8 = Task(8)
lesson_8

# %%
lesson_8.check(order="nobody", then="telegraph", opposite="levers")

# %% [markdown]
# ## 9. Gaps and the silent bus (8 minutes)
#
# You learn: nobody answers: error, silence, or a watchdog.

# %%
lesson_9 = Task(9)
lesson_9

# %%
lesson_9.check(count=48)

# %% [markdown]
# ## 10. Wait states (7 minutes)
#
# You learn: an access takes 1 + wait cycles; waits multiply.

# %%
lesson_10 = Task(10)
lesson_10

# %%
lesson_10.check(wait=3)

# %% [markdown]
# ## 11. One map for firmware and hardware (8 minutes)
#
# You learn: a wrong offset that hits a register is worse than a gap.

# %%
lesson_11 = Task(11)
lesson_11

# %%
lesson_11.check(
    BOOK_BASE=0x20010000,
    LEVERS_BASE=0x40000000,
    TELEGRAPH_BASE=0x40001000,
    CLOCK_BASE=0x40020000,
    LAMPS_BASE=0x44000000,
    LEVERS_OUT=0x0,
    LEVERS_TOGGLE=0xC,
    LEVERS_RISE=0x18,
    TELEGRAPH_DATA=0x0,
    CLOCK_ALARM=0xC,
    LAMPS_COUNT=0x8,
    LAMPS_PERIOD=0xC,
)

# %% [markdown]
# ## 12. A map of your own (10 minutes)
#
# You learn: all of it: sizes, bases, no overlap, nothing outside.

# %%
lesson_12 = Task(12)
lesson_12

# %%
lesson_12.check(book=0x4006C000, size=11264, telegraph=0x40068000, clock=0x4006A000)
