"""Which ports a machine may be on, and which described machine was last on each."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def ports(home: Path) -> dict[str, Any]:
    """The serial ports of this computer; `asleft.ports/1`.

    Args:
        home: whose described machines are named beside their ports; not made when it is missing.
    """
    from asleft.link.ports import list_ports

    at = _machines_at(home)
    found = [
        {**each.to_dict(), "machine": at.get(each.stable_path or "") or at.get(each.port)}
        for each in list_ports()
    ]
    return {"schema": "asleft.ports/1", "ports": found}


def _machines_at(home: Path) -> dict[str, str]:
    if not home.is_dir():
        return {}
    from asleft.record import Store

    with Store.open(home) as store:
        rows = store.machines()
    return {row.description["address"]: row.name for row in rows if row.description.get("address")}
