"""What is built from a bench, checked and in whole cycles: everything a run needs.

``hardware`` what stands on the board (clock, fabric, devices in their slots), ``scenario`` what happens
to it in a run (traffic, inputs, resets, wires, replies, attachments, expectations), ``system`` both.
"""
