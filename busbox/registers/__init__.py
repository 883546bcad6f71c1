"""Registers as files: what others read of a bench's registers, and declarations from files of theirs.

All artefacts are made from one :class:`~busbox.registers.layout.Layout`, which holds the slots of a
bench with their register tables, and each is a function from it to a text. The same declaration gives
the same bytes: no date, no path, no order but that of the bench and of the offsets.

``header``, ``python_class``, ``markdown``, ``html_page``, ``rdl_out`` and ``json_map`` write one
artefact each; ``loading`` reads a declaration: ``rdl_in`` from SystemRDL 2.0, ``toml_in`` from TOML, or
from a Python file.
"""
