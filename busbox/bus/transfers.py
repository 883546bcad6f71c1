"""Transfers, whatever the protocol: how an access can end.

Columns of a recording, engines and findings use these numbers; only :mod:`busbox.bus.wishbone` knows
the signals that they stand for.
"""

from __future__ import annotations

#: How an access can end; the numbers in a recording.
TERMINATORS = ("ack", "error", "watchdog", "reset", "none")
ACK, ERR, WATCHDOG, RESET, NONE = range(5)
