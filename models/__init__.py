"""The peripherals that come with Busbox, installed as ``busbox.models``.

A folder for each: ``declaration``: its registers, pins and settings; ``model``: its logic and its model
in Python; ``hardware``: the same in Amaranth. Its tests are in the folder of the same name in
``tests/models``.
"""
