"""A bench: one TOML file, or the same keys from Python, checked and built into a system.

``bench`` the class that users see, ``find`` where benches are found, ``toml_file`` and ``toml_lines``
the text and its lines, ``set_values`` what ``--set`` changes. ``building`` makes the system;
``mistakes`` collects what is wrong on the way, ``context`` and ``pins`` are what all tables share.

``schema`` is the whole file, ``table`` the base of its tables. One module a table: ``fabric``,
``slots``, ``inputs``, ``resets``, ``wires``, ``replies``, ``expectations``, ``attachments``,
``profiles``, ``traffic``; ``settings`` what slots and attachments have in common. ``keys`` lists every
key with type, unit, default and example.
"""
