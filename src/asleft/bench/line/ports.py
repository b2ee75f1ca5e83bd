"""Which ports a machine may be on, and which described machine was last on each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from asleft.errors import StoreAwayError

if TYPE_CHECKING:
    from asleft.record import Workplace


def ports(home: Path | Workplace) -> dict[str, Any]:
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


def _machines_at(home: Path | Workplace) -> dict[str, str]:
    from asleft.record import Store, Workplace

    if not Workplace.of(home).folder.is_dir():
        return {}
    try:
        with Store.at(home) as store:
            rows = store.machines()
    except StoreAwayError:  # the ports are here all the same
        return {}
    return {row.description["address"]: row.name for row in rows if row.description.get("address")}
