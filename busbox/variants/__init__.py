"""Many runs of one bench: variants, what is measured of each, and how two runs differ.

A *variant* is a bench with some keys changed. :mod:`axes` says which values a key takes,
:mod:`measures` what is taken from a run, :mod:`sweep` runs all combinations and :mod:`keeping` keeps
what was measured; :mod:`search` looks for the smallest or largest value that meets
:mod:`conditions`; :mod:`comparing` says how two runs differ.
"""
