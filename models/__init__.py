"""The peripherals that come with Busbox, installed as ``busbox.models``.

A folder for each: ``declaration`` is what it is from outside, ``model`` its working part and its model
in Python, ``hardware`` the same in Amaranth. What its tests draw stands in the folder of its name in
``tests/models``.
"""
