"""Accesses from the signals of a bus: waveforms (VCD) and tables of samples, decoded by a map.

``header``: the declarations of a VCD file; ``tokens``: the words of its changes, many at once;
``vcd``: its reader, which captures of pins share; ``samples``: a table of samples instead. ``kinds``:
what a kind of bus is made of; ``signal_map``: which signal is what; ``sampling``: the signals as they
stood in each cycle; ``held``, ``queued``, ``strobes``: what ended when, by the kind of bus;
``transfers``: waits and steps; ``notes``: what a reader should know; ``importing``: all of it as a
traffic format; ``guessing``: maps by the names of signals.
"""
