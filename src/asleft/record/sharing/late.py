"""How a row that was kept on a laptop goes into the shared store, now or late.

Late, somebody else may have gone on with the trial: then a reading is filed as taken back, with
the reason, and a mark of a step that was done anew is put aside. Nothing is dropped. Holds no
transaction of its own; `waiting` gives it one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from asleft.errors import StoreError
from asleft.record import schema
from asleft.record.tables import latest, rows
from asleft.record.trials import Trials, read_readings

if TYPE_CHECKING:
    from sqlalchemy import Connection

    from asleft.record.sharing.outbox import Entry, Outbox

_OWNERS = {"wire_log": (schema.machine, "machine_id")}
_TRIAL = (schema.trial, "trial_id")


class NotHereError(StoreError):
    """What waits is for another store than this one."""


class Late(Trials):
    """The part of a shared store that files what was kept on a laptop."""

    _outbox: Outbox

    def _file(self, connection: Connection, entry: Entry, *, late: bool) -> None:
        """File one row.

        Raises:
            NotHereError: this store has no such trial or machine.
            RefusedError: not late, and the store declines it, as it would without a network.
        """
        values = dict(entry["values"])
        table, column = _OWNERS.get(entry["what"], _TRIAL)
        owner = latest(connection, table, table.c.id == values[column])
        if owner is None or owner["at"] != entry["owner_at"]:
            raise NotHereError("what waits on this computer is for another store")
        if entry["what"] == "reading":
            self._file_reading(connection, values, late=late)
        elif entry["what"] == "step_mark":
            self._file_mark(connection, entry, late=late)
        elif entry["what"] == "reading_void":
            self._file_void(connection, values)
        else:
            self._insert(connection, schema.metadata.tables[entry["what"]], **values)

    def _file_reading(self, connection: Connection, values: dict[str, Any], *, late: bool) -> None:
        trial_id, done = values.pop("trial_id"), values.pop("done")
        written = {name: values[name] for name in ("at", "person")}
        why = self._too_late(connection, trial_id, values["key"]) if late else None
        if why is not None:
            of_trial = schema.reading.c.trial_id == trial_id
            before = [r for r in read_readings(connection, of_trial) if r.key == values["key"]]
            number = self._insert(
                connection, schema.reading, trial_id=trial_id, take=len(before), **values
            )
            self._insert(connection, schema.reading_void, reading_id=number, reason=why)
            return
        self._add_readings(connection, trial_id, [values])
        if done is not None:
            self._mark(connection, trial_id, values["key"], "done", done, **written)

    def _too_late(self, connection: Connection, trial_id: int, key: str) -> str | None:
        """Why a reading that waited does not stand, or None where it does."""
        ended = schema.trial_end
        if latest(connection, ended, ended.c.trial_id == trial_id):
            return "it came in after the trial had ended: the store was away when it was read"
        of_trial = schema.reading.c.trial_id == trial_id
        if any(r.key == key and not r.voided for r in read_readings(connection, of_trial)):
            return "it was read anew on another computer before this one came in"
        return None

    def _file_mark(self, connection: Connection, entry: Entry, *, late: bool) -> None:
        values, table = entry["values"], schema.step_mark
        mine = (table.c.trial_id == values["trial_id"], table.c.key == values["key"])
        if late and rows(connection, table, *mine, table.c.at > values["at"]):
            self._outbox.put_aside(entry)  # somebody else has begun this step since
            return
        self._insert(connection, table, **values)

    def _file_void(self, connection: Connection, values: dict[str, Any]) -> None:
        """Take back the reading that was made on this laptop at that moment."""
        key, read_at, trial_id = (values.pop(n) for n in ("key", "read_at", "trial_id"))
        for row in read_readings(connection, schema.reading.c.trial_id == trial_id):
            if (row.key, row.at) == (key, read_at) and not row.voided:
                self._insert(connection, schema.reading_void, reading_id=row.id, **values)
