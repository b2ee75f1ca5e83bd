"""How everything that goes wrong is told, and with which exit status the program leaves.

One shape for all: what, where, what to do; as text or as `asleft.error/1`, on standard error.
Not for deciding what is an error. A fault of our own leaves a report file in the home.
"""

from __future__ import annotations

import json
import os
import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from asleft.errors import AsleftError, BugError, InputError, Stopped, without_passwords

if TYPE_CHECKING:
    from asleft.cli.session import Session


class InputEndedError(Stopped):
    """The answers on standard input, or the person's patience, ended before the questions."""

    exit_status = 1


def asks_for_json(arguments: list[str]) -> bool:
    """Whether `--json` stands anywhere on the command line, also on one that is wrong."""
    options = arguments[: arguments.index("--")] if "--" in arguments else arguments
    return "--json" in options


def tell(fault: BaseException, session: Session) -> int:
    """Say on standard error what went wrong and return the exit status.

    Args:
        fault: whatever reached the top, also an interrupt or a fault of our own.
        session: for the home (bug reports) and whether JSON is wanted.
    """
    if isinstance(fault, BrokenPipeError):
        # Whoever read our output has gone; nobody is left to be told.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    if isinstance(fault, click.exceptions.NoArgsIsHelpError) and not session.json_asked:
        click.echo(fault.format_message(), err=True)
        return InputError.exit_status
    error = as_error(fault, session)
    if session.log is not None:
        session.log.error("%s: %s (%s)", error.kind, error.message, error.where)
    if session.json_asked:
        click.echo(json.dumps(error.to_dict()), err=True)
    else:
        click.echo("\n".join(_words(error)), err=True)
    return error.exit_status


def as_error(fault: BaseException, session: Session) -> AsleftError:
    """The fault as one of our own tree; a bug writes its report first."""
    if isinstance(fault, BugError) or not isinstance(
        fault, AsleftError | click.ClickException | click.Abort | KeyboardInterrupt | OSError
    ):
        return _bug(fault, session)
    if isinstance(fault, AsleftError):
        return fault
    if isinstance(fault, click.Abort | KeyboardInterrupt):
        return Stopped("Stopped", hint="Run the same command again to go on where it stood.")
    if isinstance(fault, click.ClickException):
        return _usage(fault)
    if isinstance(fault, OSError) and fault.errno is not None and fault.filename is None:
        # Without a file name it came from writing what we print.
        return InputError(
            f"the output cannot be written: {fault.strerror}",
            hint="Give it another place.",
            where="standard output",
        )
    return _bug(fault, session)


def _usage(fault: click.ClickException) -> InputError:
    """A wrong option or argument, in our shape."""
    if isinstance(fault, click.exceptions.NoArgsIsHelpError):
        return InputError("no command was given", hint="See --help.", where=None)
    if isinstance(fault, click.NoSuchOption) and fault.option_name[1:2].isdigit():
        return InputError(
            "a number that begins with - is read as an option",
            hint="Sizes and readings are above 0; where less than 0 is meant, put -- before it.",
            where=fault.option_name,
        )
    context = getattr(fault, "ctx", None)
    path = context.command_path if context else "asleft"
    param = getattr(fault, "param", None)
    message = " ".join(fault.format_message().split()).rstrip(".")
    message = re.sub(r"is not a valid integer( range)?$", "is no whole number", message)
    return InputError(
        message[:1].lower() + message[1:],
        hint=f"See `{path} --help`.",
        where=param.get_error_hint(context).strip("'") if param and context else None,
    )


def _bug(fault: BaseException, session: Session) -> BugError:
    """Write the report of a fault of our own and name its file."""
    what = f"{type(fault).__name__}: {fault}".rstrip(": ")
    try:
        report: Path | None = _write_report(fault, session)
    except OSError:
        report = None
    hint = "Please send the report; it stays on this computer until you do."
    if report is None:
        hint = "No report could be written: neither the home nor the temporary folder takes it."
    where = str(report) if report else None
    return BugError(f"this is a fault of asleft itself ({what})", hint=hint, where=where)


def _write_report(fault: BaseException, session: Session) -> Path:
    """Traceback, command line and versions, in the home's log folder or the temporary one."""
    import platform
    import tempfile
    import traceback
    from datetime import UTC, datetime
    from importlib.metadata import version

    now = datetime.now(UTC)
    text = "\n".join(
        [
            f"asleft {version('asleft')}, Python {platform.python_version()}, {sys.platform}",
            f"{now.isoformat(timespec='seconds')}",
            f"arguments: {without_passwords(repr(sys.argv[1:]))}",
            "",
            *without_passwords("".join(traceback.format_exception(fault))).splitlines(),
            "",
        ]
    )
    name = f"fault-{now:%Y%m%dT%H%M%S%f}.txt"
    try:
        folder = session.log_folder()
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / name
        path.write_text(text, encoding="utf-8")
    except OSError:
        path = Path(tempfile.mkdtemp(prefix="asleft-")) / name
        path.write_text(text, encoding="utf-8")
    return path


def _words(error: AsleftError) -> list[str]:
    """What, where, what to do: a line each, wrapped."""
    from asleft.cli.wording import sentence, wrapped

    lines = wrapped(sentence(error.message))
    if error.where:
        lines += wrapped(f"Where: {error.where}")
    if error.hint:
        lines += wrapped(f"What to do: {error.hint}")
    return lines
