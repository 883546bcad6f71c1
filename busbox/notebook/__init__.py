"""What a bench, an address map, a recording, a finding and a sweep show of themselves in a notebook.

A notebook asks the last value of a cell for HTML (``_repr_html_``). What has a still picture has it
below its tables, and gives it alone as SVG (``_repr_svg_``). The classes stand in rooms that know
nothing of this one: ``plugins.SHOWN`` names the functions of ``shown.py``, and those of ``drawn.py``
have the same names.
"""
