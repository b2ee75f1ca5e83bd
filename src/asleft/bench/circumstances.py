"""What is said of an evening beside its readings: the room, the plastic, heat, who measures.

Kept with the open calibration for its record; no estimate and no machine is touched. What may be
said, and what it means where it was not, stands in `record`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from asleft.bench.desk import Desk


def say(desk: Desk, said: Mapping[str, Any]) -> dict[str, Any]:
    """Keep what was said, opening a calibration where none is open; `asleft.conditions/1`.

    Raises:
        InputError: something that cannot be, or that nobody asks for.
    """
    from asleft.record.conditions import checked

    if details := checked(said):
        desk.store.add_conditions(desk.calibration(), details)
    return told(desk)


def told(desk: Desk) -> dict[str, Any]:
    """What was said of the open calibration, and what was not; nothing is opened.

    Returns:
        `asleft.conditions/1`: `machine`, `calibration` (None where none is open), `conditions` by
        key, `not_said` (`what`, `meaning`).
    """
    from asleft.record.conditions import OF_PRINTS, in_force, not_said

    row = desk.store.open_calibration_of(desk.row.id)
    said = []
    if row is not None:
        said = [row.conditions, *(e.details for e in desk.store.conditions_said(row.id))]
    conditions = in_force(said)
    return {
        "schema": "asleft.conditions/1",
        "machine": desk.row.name,
        "calibration": row.id if row else None,
        "conditions": conditions,
        "not_said": not_said(conditions, OF_PRINTS, named=bool(row and row.person)),
    }
