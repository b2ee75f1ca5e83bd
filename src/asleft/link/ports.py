"""The serial ports of this computer, as the system describes them.

Opens none of them and asks no machine: who is there is learned by connecting. Stands on serialx.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Port:
    """One port: its name now, the path that stays the same over reboots, and what is plugged in.

    `stable_path` is None where the system offers none; ids are hexadecimal text.
    """

    port: str
    stable_path: str | None
    description: str | None
    vendor_id: str | None
    product_id: str | None
    serial_number: str | None

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return asdict(self)


def list_ports() -> list[Port]:
    """All ports, those with something plugged in first, then by name."""
    import serialx

    found = [_port(info) for info in serialx.list_serial_ports()]
    return sorted(found, key=lambda one: (one.vendor_id is None, one.port))


def _port(info: Any) -> Port:
    """The system's stable name is its device where that differs from what it resolves to."""
    words = [text for text in (info.manufacturer, info.product) if text]
    return Port(
        port=info.resolved_device,
        stable_path=info.device if info.device != info.resolved_device else None,
        description=" ".join(words) or info.interface_description or None,
        vendor_id=None if info.vid is None else f"{info.vid:04x}",
        product_id=None if info.pid is None else f"{info.pid:04x}",
        serial_number=info.serial_number,
    )
