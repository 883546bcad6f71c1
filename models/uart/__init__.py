"""A serial port: 8 data bits, no parity, one stop bit (8N1).

``declaration``: its registers, pins and settings; ``model``: the port in Python; ``hardware``: the same
in Amaranth.
"""

from busbox.models.uart.declaration import UartRegisters
from busbox.models.uart.model import SerialReceiver, SerialSender, Uart

__all__ = ["SerialReceiver", "SerialSender", "Uart", "UartRegisters"]
