"""What one run of the command line knows: home, machine, how to speak; and how it opens doors.

Not for deciding anything. Store and bench are opened here and nowhere else in the room, so
that the stop is registered and the log is set up whichever command asks.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from asleft.errors import InputError, StoreError, without_passwords

if TYPE_CHECKING:
    from logging import Logger

    from asleft.bench import Bench, Several
    from asleft.record import Store, Workplace

Command = TypeVar("Command", bound=Callable[..., Any])


@dataclass
class Session:
    """The global options of one run; `json_asked` is known before the options are read.

    `log` is None until a command needs the home: help and `solve` leave nothing behind.
    """

    json_asked: bool = False
    home_given: str | None = None
    store_given: str | None = None
    person_given: str | None = None
    machines: tuple[str, ...] = ()
    log: Logger | None = None

    @property
    def machine(self) -> str | None:
        """The machine named, or None.

        Raises:
            InputError: several are named, and this command is for one.
        """
        if len(self.machines) > 1:
            raise InputError(
                "several machines are named, and this command is for one",
                hint="Name one. `asleft trial` takes several.",
                where="--machine",
            )
        return self.machines[0] if self.machines else None

    def home(self) -> Path:
        """The folder of the store and the logs: `--home`, `ASLEFT_HOME`, or the platform's."""
        given = self.home_given or os.environ.get("ASLEFT_HOME")
        if given:
            return Path(given).expanduser()
        from platformdirs import user_data_path

        return user_data_path("asleft", appauthor=False)

    def practice_home(self) -> Path:
        """The home of the practice machine: apart from the real one unless `--home` was given."""
        return self.home() if self.home_given else self.home() / "practice"

    def workplace(self) -> Workplace:
        """Home, shared store and person: what the bench works with.

        Raises:
            InputError: `--shared-store` or ASLEFT_STORE is no address of a store.
        """
        return self._workplace(self.home(), self.store_given or os.environ.get("ASLEFT_STORE"))

    def practice_workplace(self) -> Workplace:
        """The same for the practice machine, which never goes into a shared store unasked."""
        return self._workplace(self.practice_home(), self.store_given)

    def _workplace(self, home: Path, store: str | None) -> Workplace:
        from asleft.record import Workplace
        from asleft.record.server import server_url

        if store:
            server_url(store, where="--shared-store" if self.store_given else "ASLEFT_STORE")
        return Workplace(home, store or None, self.person())

    def person(self) -> str | None:
        """Who is at work: `--person`, `ASLEFT_PERSON`, or the user of this system."""
        given = self.person_given or os.environ.get("ASLEFT_PERSON")
        if given and given.strip():
            return given.strip()
        import getpass

        try:
            return getpass.getuser()
        except (OSError, KeyError, ImportError):  # a system without a name for its user
            return None

    def log_folder(self) -> Path:
        """Where the rotating log and the reports of our own faults lie."""
        return self.home() / "log"

    def emit(self, document: dict[str, Any], human: Callable[[dict[str, Any]], list[str]]) -> None:
        """Print one result: as one JSON object, or as the lines that `human` makes of it."""
        if self.json_asked:
            click.echo(json.dumps(document, indent=2, allow_nan=False))
        else:
            click.echo("\n".join(human(document)))

    @contextmanager
    def store(self) -> Iterator[Store]:
        """The store of the home, made on first use."""
        from asleft.record import Store

        self.prepare_home()
        with Store.at(self.workplace()) as store:
            store.tell_to(lambda text: click.echo(text, err=True))
            yield store

    @contextmanager
    def bench(
        self, *, yes: bool = False, address: str | None = None, rate_baud: int | None = None
    ) -> Iterator[Bench]:
        """The bench, with a person at this terminal; a signal reaches its stop first."""
        from asleft.bench import Bench
        from asleft.cli import signals
        from asleft.cli.terminal import TerminalPerson

        self.prepare_home()
        bench = Bench(
            self.workplace(),
            TerminalPerson(yes=yes),
            holder=f"asleft in a terminal (process {os.getpid()})",
            machine=self.machine,
            address=address,
            rate_baud=rate_baud,
        )
        with signals.on_stop(bench.stop_now), bench:
            yield bench

    @contextmanager
    def several(self) -> Iterator[Several]:
        """All the machines named, with the one person at this terminal; a signal stops all."""
        from asleft.bench import Several
        from asleft.cli import signals
        from asleft.cli.terminal import TerminalPerson

        self.prepare_home()
        several = Several(
            self.workplace(),
            TerminalPerson(),
            self.machines,
            holder=f"asleft in a terminal (process {os.getpid()})",
        )
        with signals.on_stop(several.stop_now):
            yield several

    def need_answers(self, *, yes: bool, option: str = "--yes") -> None:
        """Refuse a command that would ask when nobody can answer.

        Raises:
            InputError: no terminal, and the option that answers was not given.
        """
        if not yes and not sys.stdin.isatty():
            raise InputError(
                "this command would ask, and there is no terminal to answer at",
                hint=f"Give {option} to answer yes to its questions.",
                where=option,
            )

    def prepare_home(self) -> None:
        """Make the home and start the log in it."""
        import logging
        from logging.handlers import RotatingFileHandler

        try:
            self.log_folder().mkdir(parents=True, exist_ok=True)
            handler = RotatingFileHandler(
                self.log_folder() / "asleft.log",
                maxBytes=1_000_000,
                backupCount=5,
                encoding="utf-8",
                delay=True,
            )
        except OSError as fault:
            raise StoreError(
                f"the home folder cannot be used: {fault.strerror}",
                hint="Give another one with --home or ASLEFT_HOME.",
                where=str(self.home()),
            ) from fault
        handler.setFormatter(
            logging.Formatter("%(asctime)s %(process)d %(name)s %(levelname)s %(message)s")
        )
        log = logging.getLogger("asleft")
        log.addHandler(handler)
        log.setLevel(logging.INFO)
        log.propagate = False
        logging.raiseExceptions = False  # a full disk must not write over the prompts
        self.log = logging.getLogger(__name__)
        self.log.info("began: %s", without_passwords(repr(sys.argv[1:])))


def _note(field: str) -> Callable[[click.Context, click.Parameter, Any], None]:
    """A callback that keeps a global option in the session, wherever it was typed."""

    def keep(ctx: click.Context, _param: click.Parameter, value: Any) -> None:
        if value:
            setattr(ctx.find_object(Session), field, value)

    return keep


def shared_options(command: Command) -> Command:
    """Add the global options, so that they may stand before or after a command."""
    for decorate in (
        click.option(
            "--json",
            is_flag=True,
            expose_value=False,
            callback=_note("json_asked"),
            help="One JSON object on standard output; messages on standard error.",
        ),
        click.option(
            "--machine",
            metavar="NAME",
            multiple=True,
            expose_value=False,
            callback=_note("machines"),
            help="A machine described before; `trial` takes several.",
        ),
        click.option(
            "--person",
            metavar="NAME",
            expose_value=False,
            callback=_note("person_given"),
            help="Who works (or ASLEFT_PERSON); else this system's user.",
        ),
        click.option(
            "--shared-store",
            metavar="URL",
            expose_value=False,
            callback=_note("store_given"),
            help="A store shared on PostgreSQL (or ASLEFT_STORE).",
        ),
        click.option(
            "--home",
            metavar="DIR",
            expose_value=False,
            callback=_note("home_given"),
            help="Where the store lives (or ASLEFT_HOME).",
        ),
    ):
        command = decorate(command)
    return command


def line_options(command: Command) -> Command:
    """Add `--port` and `--baud` to a command that talks to a machine."""
    from asleft.cli.typed import Address, Rate

    command = click.option(
        "--baud",
        "rate_baud",
        type=Rate(),
        default=None,
        help="Line rate; auto (the default) probes.",
    )(command)
    return click.option(
        "--port",
        "address",
        type=Address(),
        help="Serial port or host:port; else as described.",
    )(command)
