"""How verbs show a device whose port is of another kind than the fabric's: the kind, and its bridge."""

from __future__ import annotations

from typing import Any

from busbox.basics.listing import counted


def port_object(model: Any) -> dict[str, Any] | None:
    """Return what ``--json`` prints of a device's port; None for one without a kind of its own."""
    kind = getattr(model, "port_kind", None)
    if kind is None:
        return None
    write, read = model.added()
    return {
        "kind": kind,
        "least_wait": model.least_wait,
        "added_to_write": write,
        "added_to_read": read,
    }


def port_text(model: Any) -> str:
    """Return the kind of a device's port and what its bridge adds, or ""."""
    port = port_object(model)
    if port is None:
        return ""
    write, read = port["added_to_write"], port["added_to_read"]
    if write == read:
        adds = f"adds {counted(write, 'cycle')} to every access" if write else "adds no cycle"
    else:
        adds = f"adds {counted(read, 'cycle')} to a read, {write or 'none'} to a write"
    return f"port {port['kind']}; its bridge {adds}"


def wait_text(wait: int, model: Any) -> str:
    """Return the wait states of a slot, and the cycles that a bridge adds to them."""
    port = port_object(model)
    if port is None:
        return str(wait)
    write, read = port["added_to_write"], port["added_to_read"]
    if write == read:
        return f"{wait} + {write}" if write else str(wait)
    return f"{wait} + {write}, read {wait} + {read}"
