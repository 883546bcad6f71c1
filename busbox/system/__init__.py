"""The system built from a bench, checked and in whole cycles: everything a run needs.

``hardware``: what is on the board (clock, fabric, devices in their slots); ``scenario``: what happens
in a run (traffic, inputs, resets, wires, replies, attachments, expectations); ``system``: both.
"""
