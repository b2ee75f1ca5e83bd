"""What owners say of their machines and instruments: filed, added to, shown. No line is opened.

The one place where a description is merged with what was said before, whichever face asks.
Stands on the store; what a description may say, `controller` and `measure` judge.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from asleft.bench.desk import Desk
from asleft.bench.possible import (
    require_instrument,
    require_length,
    require_machine,
    require_name,
)
from asleft.controller import MachineDescription
from asleft.errors import InputError
from asleft.measure import Instrument, KnownLengthCheck

if TYPE_CHECKING:
    from asleft.record import MachineRow
    from asleft.units import Typed


def describe_machine(desk: Desk, given: Mapping[str, Any]) -> dict[str, Any]:
    """File a description; of a known machine only what is given changes. As `shown`.

    Raises:
        InputError: without a name, or what no machine can be; nothing is filed.
    """
    name = str(given.get("name") or "").strip()
    known = desk.store.machine(name)
    before = known.description if known else {}
    if known is None:  # one filed by its address keeps that name
        require_name(name)
    require_machine(given)
    described = MachineDescription.from_dict({**before, **given, "name": name}).to_dict()
    desk.store.add_machine(described)
    desk.described_anew(name)
    return shown_machine(desk, name)


def machines(desk: Desk) -> list[dict[str, Any]]:
    """All machines as `shown`, oldest first."""
    return [_shown(row) for row in desk.store.machines()]


def shown_machine(desk: Desk, name: str | None) -> dict[str, Any]:
    """The machine named, or the only one: its description, and `fingerprints` it answered with.

    Raises:
        InputError: none of this name, or none named where there is not just one.
    """
    rows = desk.store.machines()
    if name is None and len(rows) == 1:
        return _shown(rows[0])
    for row in rows:
        if row.name == name:
            return _shown(row)
    names = ", ".join(row.name for row in rows)
    raise InputError(
        f"no machine is called {name!r}" if name else "no machine is named",
        hint=f"Described are: {names}." if names else "Describe one: `asleft machine describe`.",
        where="--machine",
    )


def describe_instrument(desk: Desk, given: Mapping[str, Any]) -> dict[str, Any]:
    """File an instrument; of a known one only what is given changes. The description as filed.

    Raises:
        InputError: without a name, or what no instrument can be; nothing is filed.
    """
    name = str(given.get("name") or "").strip()
    known = desk.store.instrument(name)
    described = {**(known.description if known else {}), **given, "name": name}
    described |= Instrument.from_dict(described).to_dict()
    if known is None:
        require_name(name)
    require_instrument(given, described)
    desk.store.add_instrument(described)
    return described


def instruments(desk: Desk) -> list[dict[str, Any]]:
    """All instruments, oldest first, with the number of their `checks`."""
    return [{**row.description, "checks": len(row.checks)} for row in desk.store.instruments()]


def check_instrument(
    desk: Desk, name: str, readings: Sequence[Typed], *, nominal_mm: float, u_mm: float
) -> dict[str, Any]:
    """Keep readings of a known length; estimates use the check from then on. The check as filed.

    Args:
        desk: the bench's.
        name: of an instrument that was described.
        readings: in mm, three or more.
        nominal_mm: the known length.
        u_mm: its standard uncertainty.

    Raises:
        InputError: no such instrument, or no check can be made of the readings.
    """
    row = desk.store.instrument(name)
    if row is None:
        raise InputError(
            f"no instrument is called {name!r}",
            hint="Describe it first with `asleft instrument describe`.",
            where="NAME",
        )
    values_mm = [each.value for each in readings]
    resolution_mm = row.description["resolution_mm"]
    found = asdict(KnownLengthCheck.from_readings(values_mm, nominal_mm, u_mm, resolution_mm))
    require_length(found["error_mm"], nominal_mm, row.description["mpe_mm"])
    details = {"readings_mm": values_mm, "raw": [each.raw for each in readings], **found}
    desk.store.add_instrument_check(name, details)
    desk.store.add_instrument({**row.description, "check": found})
    return details


def _shown(row: MachineRow) -> dict[str, Any]:
    return {**row.description, "fingerprints": list(row.fingerprints)}
