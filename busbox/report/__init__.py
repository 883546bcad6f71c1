"""A run, or a sweep, as one page for a browser: a file that opens by a double click, offline.

What is on the page
===================

From top to bottom: what was run, and the verdict in words; the findings, each with its picture; the
address map to scale; the timetable; the events as a table; the lamps in slow motion. The first
three are plain HTML, so that they can be read where no script runs.

*The timetable* is laid out like the one on a station's wall. Every device has a block with its name
as the heading, and below it a line for everything of it that moves: each register that was
accessed, each pin, the bytes and frames that it sent and those that an attachment understood. Time
runs from left to right. What is there only for a moment (an access) is a stroke at the line: a
write stands above it, a read hangs below it, so that both are told apart without colour. What lasts
is a bar: a pin while it is high, the function that runs, an interrupt handler. Bytes are chips with
the character on them, frames are strips of swatches. Where more than one event falls on a column of
the screen, the height of the column says how many there are, in steps of a factor of ten: a drawing
of single strokes would be a solid block there. The run's own lines (findings, marks, resets,
functions, handlers) come first, in the block "run".

Above it lies a strip of the whole run: how busy the bus is, where the findings are, and a frame around
the part that the timetable shows. Beside it, or below it on a narrow screen, stands the slip: the cause
of what was clicked, in the words of ``busbox why``. Nothing floats over the drawing.

Why so: people ask what a device did at a moment, and who told it to. A block for each device
answers the first, the slip the second. The paper is white or dark as the reader's system says;
there is no grid, as exact moments are read as numbers: those of what was clicked, and those of the
two moments of *measure*.

The data
========

The page holds the recording's columns, packed as :mod:`busbox.report.packing` says, and works out
everything else when it is asked:

* :mod:`busbox.report.rows`: accesses, edges, bytes, frames, events, marks, resets; which lines
there are;
* :mod:`busbox.report.causes`: what only Python can say of a cause: what the decoder at a pin sees
  in the cycle of an edge, which registers the device's own ``because`` names, who called. The
  sentences differ in their numbers only, so that they are kept as a few sentences with gaps, and
  the numbers as columns. The rest of a chain follows from the columns; ``assets/causes.js`` puts it
  together in the order of :class:`busbox.explain.why.Stories`, and a test compares the two, part by
  part.

``assets/*.js`` are modules of plain JavaScript, typed by comments. :mod:`busbox.report.page` joins
them to one script: a browser loads no module from a file.
"""
