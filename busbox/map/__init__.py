"""Registers and fields, slots and decoding, addresses as text."""
