"""Holding a machine against the other laptops of a workshop, for as long as one works at it.

A lease in the shared store, renewed in a thread of its own; a laptop that dies loses it by itself.
A store in a file is one computer's, where the lock on the line does this. Stands on the store.
"""

from __future__ import annotations

import logging
import socket
import threading
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from uuid import uuid4

from asleft.errors import AsleftError, LineError, StoreError
from asleft.record import Store
from asleft.record.sharing.leases import LEASE_S, Lease
from asleft.record.sharing.store import SharedStore

RENEW_S = LEASE_S / 4  # a network may be away for the rest of it
LOG = logging.getLogger(__name__)


class Holding:
    """The machines that one bench holds; at most one in practice.

    Args:
        store: where the lease is.
        home: tells this laptop from others of its name.
        holder: the program, in words.
        tell: told when a machine is taken over from a laptop that let nothing be heard.
        lease_s, renew_s: how long a lease runs, and how often it is renewed.
    """

    def __init__(
        self,
        store: Store,
        home: Path,
        *,
        holder: str,
        tell: Callable[[str], None],
        lease_s: float = LEASE_S,
        renew_s: float = RENEW_S,
    ) -> None:
        self._store = store if isinstance(store, SharedStore) else None
        self._home, self._holder, self._tell = home, holder, tell
        self._lease_s, self._renew_s = lease_s, renew_s
        self._held: dict[int, Lease] = {}
        self._lost: AsleftError | None = None
        self._over = threading.Event()
        self._thread: threading.Thread | None = None

    def hold(self, machine_id: int) -> None:
        """Hold a machine from now on; nothing happens where it is held already.

        Raises:
            LineError: somebody else holds it, or has taken it over meanwhile.
            StoreError: the store does not answer.
        """
        if self._store is None:
            return
        if self._lost is not None:
            raise self._lost
        if machine_id in self._held:
            return
        lease = Lease(uuid4().hex, machine_id, laptop(self._home), self._store.person, self._holder)
        left = self._store.take_lease(lease, lease_s=self._lease_s)
        self._held[machine_id] = lease
        if left is not None:
            self._tell(
                f"The machine was held by {left}: it is yours now. Look at it first: it may be hot,"
                " or in the middle of a print."
            )
        if self._thread is None:
            self._thread = threading.Thread(target=self._renew, name="lease", daemon=True)
            self._thread.start()

    def release(self) -> None:
        """Let go; what cannot be told to the store runs out by itself."""
        self._over.set()
        if self._thread is not None:
            self._thread.join()
        if self._store is not None:
            for lease in self._held.values():
                with suppress(StoreError):
                    self._store.release_lease(lease.token)
        self._held.clear()

    def _renew(self) -> None:
        while not self._over.wait(self._renew_s):
            for lease in list(self._held.values()):
                try:
                    self._renew_one(lease)
                except StoreError as error:  # it is away; a lease lasts longer than that, mostly
                    LOG.info("a lease could not be renewed: %s", error.message)

    def _renew_one(self, lease: Lease) -> None:
        assert self._store is not None  # noqa: S101 - else nothing is held
        if self._store.renew_lease(lease.token, lease_s=self._lease_s):
            return
        try:
            self._store.take_lease(lease, lease_s=self._lease_s)
        except LineError as error:
            self._lost = LineError(
                f"this laptop was not heard of for {self._lease_s:.0f} s, and now {error.message}",
                hint="Talk to each other; what you read is kept. Nothing more is sent from here.",
                where=error.where,
            )


def laptop(home: Path) -> str:
    """This laptop's name, and behind # what tells it from another one of the same name."""
    file = home / "laptop"
    try:
        number = file.read_text(encoding="ascii").strip()
    except OSError:
        number = uuid4().hex[:12]
        home.mkdir(parents=True, exist_ok=True)
        file.write_text(number + "\n", encoding="ascii")
    return f"{socket.gethostname()}#{number}"
