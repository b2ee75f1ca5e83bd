"""Who works at a machine, where several laptops share a store: a lease that is renewed or runs out.

The database's clock counts, so that no laptop's clock matters. Not for a store in a file, which
one computer has: there the lock on the line does it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from asleft.errors import LineError
from asleft.record import schema
from asleft.record.engine import in_words
from asleft.record.tables import Tables

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping

LEASE_S = 90.0
"""How long a machine stays held by a laptop that is not heard of any more; ours."""


@dataclass(frozen=True)
class Lease:
    """One laptop's hold on one machine. `place` names the laptop, `holder` the program."""

    token: str
    machine_id: int
    place: str
    person: str
    holder: str


class Leases(Tables):
    """The part of a shared store about who is at which machine."""

    def take_lease(self, lease: Lease, *, lease_s: float = LEASE_S) -> str | None:
        """Hold a machine; a lease of the same token is held on.

        Returns:
            Whose lease had run out and is taken over, in words, or None.

        Raises:
            LineError: somebody else holds it; the message says who, where and since when.
        """
        table = schema.lease
        with in_words(self._where), self._engine.begin() as connection:
            machine = schema.machine.select().where(schema.machine.c.id == lease.machine_id)
            name = connection.execute(machine.with_for_update()).mappings().one()["name"]
            now = _now(connection)
            others = [
                row
                for row in connection.execute(
                    table.select().where(table.c.machine_id == lease.machine_id)
                ).mappings()
                if (row["place"], row["person"]) != (lease.place, lease.person)
            ]
            for row in others:
                if row["until_s"] > now:
                    raise _held(name, row, now)
            connection.execute(
                table.delete().where(
                    (table.c.machine_id == lease.machine_id)
                    & ((table.c.until_s <= now) | (table.c.token == lease.token))
                )
            )
            connection.execute(
                table.insert().values(vars(lease) | {"since_s": now, "until_s": now + lease_s})
            )
        return _left(max(others, key=_until), now) if others else None

    def renew_lease(self, token: str, *, lease_s: float = LEASE_S) -> bool:
        """Hold on; False where the lease is gone, taken over by somebody else."""
        table = schema.lease
        with in_words(self._where), self._engine.begin() as connection:
            until_s = _now(connection) + lease_s
            held = table.update().where(table.c.token == token).values(until_s=until_s)
            return connection.execute(held).rowcount == 1

    def release_lease(self, token: str) -> None:
        """Let go of a machine."""
        with in_words(self._where), self._engine.begin() as connection:
            connection.execute(schema.lease.delete().where(schema.lease.c.token == token))


def _now(connection: Connection) -> float:
    """Seconds since 1970 by the server's clock."""
    said = connection.exec_driver_sql("SELECT extract(epoch FROM clock_timestamp())")
    return float(said.scalar_one())


def _until(row: RowMapping) -> float:
    return float(row["until_s"])


def _who(row: Any) -> str:
    """A holder in words. Behind # stands what tells laptops of one name apart."""
    laptop = str(row["place"]).partition("#")[0]
    since = datetime.fromtimestamp(float(row["since_s"]), UTC)
    return f"{row['person']} on {laptop} ({row['holder']}) since {since:%Y-%m-%d %H:%M} UTC"


def _held(name: str, row: RowMapping, now: float) -> LineError:
    wait_s = max(1, round(row["until_s"] - now))
    return LineError(
        f"{name!r} is in use by {_who(row)}",
        hint="End it there first. A laptop that is not heard of any more loses the machine by"
        f" itself, this one in {wait_s} s.",
        where=name,
    )


def _left(row: RowMapping, now: float) -> str:
    ago_s = max(0.0, now - _until(row))
    ago = f"{ago_s:.0f} s" if ago_s < 120 else f"{ago_s / 60:.0f} min"
    return f"{_who(row)}, and that ran out {ago} ago"
