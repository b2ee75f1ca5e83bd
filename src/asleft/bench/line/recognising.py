"""Which machine answers on a line: by its fingerprint, by its address, or by a person's word.

One machine's history never goes under another's name; where that cannot be told, a person at
the machine says it. Not for opening a line. Stands on the store and on `Person`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from asleft.bench.person import Ask, Person
from asleft.errors import InputError, RefusedError

if TYPE_CHECKING:
    from asleft.controller import Machine, MachineDescription
    from asleft.record import MachineRow, Store

ON_PAPER = "machine on paper"
"""What work without a machine is filed under where none was described."""
BY_ADDRESS = "machine at "
"""What the name of a machine begins with that answered before anybody described it."""
NONE_GIVEN = "none given"
"""Filed for a machine that gave a fingerprint once and, as a person said, gives none any more."""


def meant(store: Store, name: str | None) -> MachineRow | None:
    """The machine of this name, or the only one; None where none was ever described.

    Raises:
        InputError: none of this name, or several and none is named.
    """
    if name is not None:
        row = store.machine(name)
        if row is None:
            raise InputError(
                f"no machine is called {name!r}",
                hint="`asleft machine list` shows those described.",
                where="--machine",
            )
        return row
    rows = store.machines()
    if len(rows) > 1:  # whatever was kept before anything was described is not meant any more
        rows = [row for row in rows if not _is_undescribed(row)] or rows
    if len(rows) > 1:
        raise InputError(
            "several machines are described and none is named",
            hint="Name one with --machine: " + ", ".join(r.name for r in rows) + ".",
            where="--machine",
        )
    return rows[0] if rows else None


def described_at(store: Store, address: str) -> list[MachineRow]:
    """The machines described with this address, whatever way it is written."""
    return [
        row
        for row in store.machines()
        if _is_the_same(str(row.description.get("address") or ""), address)
    ]


def recognise(
    store: Store,
    person: Person,
    machine: Machine,
    *,
    named: MachineRow | None,
    unknown: MachineDescription,
) -> MachineRow:
    """The row of the machine that answers, with its fingerprint filed.

    Args:
        store: where machines and their fingerprints are.
        person: asked where another board answers than before.
        machine: the connected machine; it is asked who it is.
        named: the machine that the person named, or None where only a port is known.
        unknown: what a machine that nobody described is filed as.

    Raises:
        InputError: it is known under another name than the one given, or may be one of several
            that are described.
        RefusedError: another board answers than before, and nobody says that it was replaced.
    """
    said = machine.identify().fingerprint
    known = [row for row in store.machines() if said is not None and said in row.fingerprints]
    known.sort(key=_is_undescribed)
    row = named or (known[0] if known else _expected(store, person, unknown))
    other = next((each for each in known if each.id != row.id), None)
    if other is not None and not row.fingerprints and _is_undescribed(other):
        person.tell(f"What was kept of it before it was described stays under {other.name!r}.")
    elif said not in row.fingerprints and other is not None:
        raise InputError(
            f"the machine on this port is {other.name!r}, not {row.name!r}",
            hint=f"Name {other.name!r}, under which it is filed, or check the cable.",
            where="--machine",
        )
    _accept(store, person, machine, row)
    filed = store.machine(row.name)
    assert filed is not None  # noqa: S101 - rows are never deleted
    return filed


def _expected(store: Store, person: Person, unknown: MachineDescription) -> MachineRow:
    """The machine described at this address; else a new one, named by its address."""
    rows = described_at(store, str(unknown.address))
    rows = [row for row in rows if not row.fingerprints] or rows
    rows = [row for row in rows if not _is_undescribed(row)] or rows
    if len(rows) > 1:
        raise InputError(
            "several machines are described at this address",
            hint="Name one with --machine: " + ", ".join(row.name for row in rows) + ".",
            where="--machine",
        )
    if rows:
        return rows[0]
    return store.machine(unknown.name) or _new(store, person, unknown)


def _new(store: Store, person: Person, unknown: MachineDescription) -> MachineRow:
    """File a machine that nobody described, unless it may be one that was never on a line yet."""
    may_be = [
        row.name
        for row in store.machines()
        if not (row.fingerprints or row.description.get("address") or _is_undescribed(row))
    ]
    if may_be:
        raise InputError(
            "the machine on this port may be one that is described: " + ", ".join(may_be),
            hint="Name it with --machine, or describe this one under another name with its --port.",
            where="--machine",
        )
    person.tell(
        f"No machine described is known to be on this port. It is filed as {unknown.name!r}, with a"
        f" bed of {unknown.travel_mm[0]:g} × {unknown.travel_mm[1]:g} mm and limits of"
        f" {unknown.max_nozzle_c:g} °C for the nozzle and {unknown.max_bed_c:g} °C for the bed;"
        f" `asleft machine describe NAME --port {unknown.address}` names and describes it."
    )
    store.add_machine(unknown.to_dict())
    row = store.machine(unknown.name)
    assert row is not None  # noqa: S101 - it was added just now
    return row


def _accept(store: Store, person: Person, machine: Machine, row: MachineRow) -> None:
    """File the fingerprint of a machine that is, or is said to be, the one in this row."""
    said = machine.identity.fingerprint if machine.identity else None
    if row.fingerprints and (said or NONE_GIVEN) not in row.fingerprints:
        said = machine.identify().fingerprint  # a garbled answer looks like another machine
    if (said or NONE_GIVEN) in row.fingerprints:
        return
    if not row.fingerprints:
        if said is not None:
            store.note_fingerprint(row.id, said)
        return
    if not person.confirm(_replaced(row)):
        raise RefusedError(
            f"another machine answers than the one filed as {row.name!r}",
            hint="Describe it under its own name with `asleft machine describe`, and name it with"
            " --machine.",
            where=machine.facts.address,
        )
    store.note_fingerprint(row.id, said or NONE_GIVEN)


def _replaced(row: MachineRow) -> Ask:
    return Ask(
        "connect.replaced",
        f"Another board answers than the one filed as {row.name!r}. Is it the same machine, with"
        " its board or its firmware replaced? Yes files what follows under that name; no leaves"
        " it alone.",
        action="approve",
        only_in_person=True,
    )


def _is_undescribed(row: MachineRow) -> bool:
    """Whether nobody ever gave it a name: kept from a paste, or met on a port."""
    return row.name == ON_PAPER or row.name.startswith(BY_ADDRESS)


def _is_the_same(one: str, other: str) -> bool:
    """Whether two addresses lead to one machine; a host is looked up only where it must be."""
    from asleft.link.lock import resolve

    if not one or one == other:
        return bool(one)
    if ("://" in one) != ("://" in other):
        return False
    return resolve(one) == resolve(other)
