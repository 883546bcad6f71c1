"""What hangs on the pins: the part of a bench that is no device of the bus.

``wave``      the edges of one line, in ticks
``profiles``  what single-wire lamps ask of their line: windows of time, latch gap, colour order
``bits``      the bits, frames and colours that such lamps take from a wave
``lamps``     the judgement: every high and low of a wave against a profile
``clocks``    which whole counts of clocks keep a profile, and the best of them
``serial``    the characters of a serial line; ``baud`` its rates
``light``     how often lamps flash; ``colour`` how much light a colour gives
``supply``    the current that a string of lamps takes
``captures``  lines of real hardware, read from files
"""
