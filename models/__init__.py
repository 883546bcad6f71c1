"""The peripherals that come with Busbox, installed as ``busbox.models``.

One file for each: its registers, its working part, its model, in that order.
"""
