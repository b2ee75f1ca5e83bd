"""The bed and nozzle that a piece is made for: as typed, or of a machine described before.

Opens no store unless a machine is named.
"""

from __future__ import annotations

from typing import Any

from asleft.cli.session import Session
from asleft.errors import InputError

Bed = tuple[str, tuple[float, float, float] | None, float | None]


def bed_of(session: Session, given: dict[str, Any]) -> Bed:
    """Shape, travel and nozzle: as typed, else of the machine named, else not known (None)."""
    square, rounded, nozzle_mm = given["bed"], given["bed_round"], given["nozzle_mm"]
    if square and rounded:
        raise InputError(
            "a bed is square or round", hint="Give --bed or --bed-round.", where="--bed"
        )
    if square:
        return "square", square, nozzle_mm
    if rounded:
        return "round", (rounded[0], rounded[0], rounded[1]), nozzle_mm
    if session.machine is None:
        return "square", None, nozzle_mm
    told = described(session)
    x, y, z = told["travel_mm"]
    return told["bed_shape"], (x, y, z), nozzle_mm or told["nozzle_mm"]


def described(session: Session) -> dict[str, Any]:
    """What the owner of the machine named said of it."""
    assert session.machine is not None  # noqa: S101 - told by the callers
    with session.store() as store:
        row = store.machine(session.machine)
    if row is None:
        raise InputError(
            f"no machine is called {session.machine!r}",
            hint="`asleft machine list` shows those described.",
            where="--machine",
        )
    description: dict[str, Any] = row.description
    return description
