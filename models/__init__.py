"""The peripherals that come with Busbox, installed as ``busbox.models``.

A folder for each: ``registers`` is what it is from outside, ``model`` its working part and its model
in Python, ``hardware`` the same in Amaranth. Where there is one file, it holds registers, working part
and model, in that order.
"""
