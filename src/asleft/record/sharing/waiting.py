"""Keeping a row on this computer first, and delivering it to the shared store once, in order.

Everything that is asked of the store waits until what waits has come in. Who is at the machine is
told once that rows wait, and once that they came in. Not for what the rows are; see `store`.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from asleft.errors import AsleftError, InputError, RefusedError, StoreAwayError, StoreError
from asleft.record.engine import in_words
from asleft.record.sharing.delivery import DeliveredBefore
from asleft.record.sharing.late import Late, NotHereError
from asleft.record.sharing.outbox import Entry, Lane, Outbox
from asleft.record.tables import utc_text

if TYPE_CHECKING:
    from sqlalchemy import Connection

PATIENCE_S = 2.0
"""A server that let one wait longer than this is not asked at every reading."""
PAUSE_S = 15.0
TURN_S = 30.0
WAITS = (
    "The store's server does not answer. What you read is kept on this computer and will be"
    " delivered when it is back: go on."
)


class Waiting(Late):
    """The part of a shared store that keeps what waits, and delivers it."""

    def keep_in(self, home: Path) -> None:
        """Keep what waits in this home; what waits there already is delivered now.

        Raises:
            StoreAwayError: the server went away just now.
        """
        self._outbox = Outbox(home)
        self._tell: Callable[[str], None] | None = None
        self._said: list[str] = []
        self._waiting: dict[str, Lane] = {lane.path.name: lane for lane in self._outbox.lanes()}
        self._away, self._came_late = False, 0
        self._not_before_s = 0.0
        self._catch_up(within_s=0.0)

    def tell_to(self, tell: Callable[[str], None]) -> None:
        """Who is told that readings wait, and that they were delivered."""
        self._tell = tell
        said, self._said = self._said, []
        for text in said:
            tell(text)

    def _put(self, owner: str, what: str, owner_at: str, **values: Any) -> str:
        """Keep one row on this computer, then deliver all that waits with it.

        Args:
            owner: the trial or machine that the row is of; with the moment `owner_at` at which that
                began, it is the same in no other store.
            what: the table of the row.
            values: of the row.

        Raises:
            RefusedError, InputError: the store declines this row; it does not wait.
        """
        at = utc_text(self._clock())
        token = uuid4().hex
        row = {**values, "at": at, "person": self._person}
        entry: Entry = {"token": token, "what": what, "owner_at": owner_at, "values": row}
        lane = self._outbox.lane(f"{owner}-{''.join(filter(str.isdigit, owner_at))}")
        with lane.lock:
            with in_words(str(lane.path.parent)):
                lane.append(entry)
            self._waiting[lane.path.name] = lane
            try:
                self._deliver(lane, mine=token)
            except StoreAwayError:
                self._say_waits()
        return at

    @contextmanager
    def _writing(self, token: str | None = None) -> Iterator[Connection]:
        self._catch_up()
        with super()._writing(token) as connection:
            yield connection

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        self._catch_up()
        with super()._reading() as connection:
            yield connection

    def _catch_up(self, within_s: float = TURN_S) -> None:
        """Deliver all that waits, before anything else is asked of the store.

        Args:
            within_s: how long another program of this laptop that delivers the same is waited for.
                What it has in hand at the start is its matter; later nothing may overtake it.

        Raises:
            StoreAwayError: the server is still away.
            StoreError: the other program does not come to an end.
        """
        from filelock import Timeout

        for lane in list(self._waiting.values()):
            try:
                with lane.lock.acquire(timeout=within_s):
                    self._deliver(lane, mine=None)
            except Timeout as error:
                if within_s:
                    raise StoreError(
                        "another program of this computer is delivering what waits",
                        hint="Do it again when that has ended.",
                        where=str(lane.path),
                    ) from error
                del self._waiting[lane.path.name]
            except NotHereError:
                del self._waiting[lane.path.name]
                self._say(f"What waits in {lane.path} is for another store than this one.")
            except StoreAwayError as error:
                self._say_waits()
                raise self._still_away() from error

    def _still_away(self) -> StoreAwayError:
        return StoreAwayError(
            "the store's server does not answer",
            hint="What you read is kept on this computer and comes in first: do this again when the"
            " server is back.",
            where=self._where,
        )

    def _deliver(self, lane: Lane, mine: str | None) -> None:
        """Everything in a lane, in order; `mine` is the row just entered, and may be refused."""
        entries = lane.waiting()
        for number, entry in enumerate(entries):
            is_mine = entry["token"] == mine
            try:
                self._came_late += self._deliver_one(entry, late=not is_mine)
            except AsleftError as error:
                if not _declined(error):
                    if number:
                        with in_words(str(lane.path.parent)):
                            lane.keep(entries[number:])
                    raise
                if is_mine:
                    self._is_empty(lane)  # it was the last, and all before it came in
                    raise
                self._outbox.put_aside(entry)
                self._say(f"A row that waited could not be filed and is put aside: {error.message}")
        self._is_empty(lane)
        self._is_back()

    def _deliver_one(self, entry: Entry, *, late: bool) -> int:
        """One row; 1 where it had waited and came in now."""
        began_s = time.monotonic()
        if began_s < self._not_before_s:
            raise self._still_away()
        try:
            with super()._writing(entry["token"]) as connection:
                self._file(connection, entry, late=late)
        except DeliveredBefore:
            return 0
        except StoreAwayError:
            if time.monotonic() - began_s > PATIENCE_S:
                self._not_before_s = time.monotonic() + PAUSE_S
            raise
        return int(late)

    def _is_empty(self, lane: Lane) -> None:
        with in_words(str(lane.path.parent)):
            lane.clear()
        self._waiting.pop(lane.path.name, None)

    # What the person is told: once that something waits, once that it came in.

    def _say_waits(self) -> None:
        if not self._away:
            self._away = True
            self._say(WAITS)

    def _is_back(self) -> None:
        was_away, self._away, self._not_before_s = self._away, False, 0.0
        late, self._came_late = self._came_late, 0
        if late:
            rows = "1 row" if late == 1 else f"{late} rows"
            self._say(f"What waited for the store was delivered ({rows}).")
        elif was_away:  # another program of this laptop did it
            self._say("What waited for the store was delivered.")

    def _say(self, text: str) -> None:
        if self._tell is None:
            self._said.append(text)
        else:
            self._tell(text)


def _declined(error: AsleftError) -> bool:
    """Whether the store answered and will not have this row, now or later."""
    from sqlalchemy.exc import DataError, IntegrityError

    declined = isinstance(error.__cause__, DataError | IntegrityError)
    return declined or isinstance(error, InputError | RefusedError)
