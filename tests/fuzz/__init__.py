"""Spoiled input, drawn, for every parser and every verb, in a process with limits on time and memory.

``targets``: which parser is fed with what; ``spoiling``: how files are spoiled; ``worker``: the process
that runs a case in a child; ``running``: starts it, and says what a case broke; ``shrinking``: makes a
case small; ``cases/``: what was found before, each a file that says why it is there.

``python -m tests.fuzz --seconds 600 --seed 3`` (``make fuzz SECONDS=600``) writes what it finds to
``cases/``.
"""
