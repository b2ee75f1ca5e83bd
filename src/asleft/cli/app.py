"""The table of commands, each imported only when it is asked for, and the global options.

Nothing heavy may be imported here: `asleft --help` must be there at once. What a command
does stands in the file that the table names.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from asleft.cli import failure, signals
from asleft.cli.session import Session, shared_options

# In the order of an evening: name, file in this room, what it does.
COMMANDS: dict[str, tuple[str, str]] = {
    "practice": ("practice", "Learn on a practice machine with hidden errors."),
    "open": ("open", "Open the page, which carries the whole job."),
    "ports": ("ports", "List serial ports, and what is plugged in."),
    "machine": ("machine", "Describe a machine once: drive, bed, limits, address."),
    "instrument": ("instrument", "Describe what you measure with, and check it."),
    "found": ("found", "Read and keep everything the machine holds."),
    "conditions": ("conditions", "Say the room, the spool and the rest for the record."),
    "plan": ("plan", "What to expect of a trial: uncertainty, minutes, grams."),
    "piece": ("piece", "Write the gauge piece and its drawing."),
    "trial": ("trial", "Run a trial at the machine, step by step."),
    "solve": ("solve", "Estimate from readings files; no machine is needed."),
    "set": ("change", "Change what the evidence supports, and read it back."),
    "prove": ("prove", "See that the change holds: power cycle, second piece."),
    "undo": ("change", "Put back what we changed."),
    "restore": ("change", "Put back what a kept state holds."),
    "allow": ("allow", "What to draw so that it fits."),
    "event": ("event", "Note what was replaced or happened, and what it undoes."),
    "due": ("event", "Say what should be looked at again, and why."),
    "history": ("history", "Tell what the years have shown: steady, stepped, drifting."),
    "record": ("record", "Write the record of a calibration."),
    "backup": ("backup", "Write the whole store into one file, and check it."),
    "store": ("store", "Copy the whole store to a folder or a database server."),
    "restore-store": ("backup", "Put a backup back; the present store is kept aside."),
}


class EveningGroup(click.Group):
    """A group whose commands are imported when they are called, not when they are listed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in the order of an evening."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the one command that was asked for."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"asleft.cli.{COMMANDS[cmd_name][0]}")
        name = cmd_name.replace("-", "_")
        command: click.Command = getattr(module, f"{name}_command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands from the table alone."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, what) for name, (_, what) in COMMANDS.items()])


def _print_version(ctx: click.Context, _param: click.Parameter, wanted: bool) -> None:
    if wanted and not ctx.resilient_parsing:
        from asleft import __version__

        click.echo(f"asleft {__version__}")
        ctx.exit(0)


@click.group(cls=EveningGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_version,
    help="Show the version.",
)
@shared_options
@click.pass_context
def app(ctx: click.Context) -> None:
    """Calibrate a fused-filament printer: as found, measured, changed, proved, as left.

    Heated and moving parts burn and pinch: never leave a heated machine unwatched.

    \b
    Exit status: 0 done · 1 the answer is no · 2 wrong use or bad input
                 3 machine or line fault · 4 our own fault · 130 interrupted
    """


def run(arguments: list[str]) -> int:
    """Run one command line and return its exit status; every error ends here."""
    signals.install()
    _sound_streams()
    session = Session(json_asked=failure.asks_for_json(arguments))
    try:
        outcome: Any = app.main(arguments, prog_name="asleft", standalone_mode=False, obj=session)
        sys.stdout.flush()
    except BaseException as fault:  # the one place where everything ends
        return failure.tell(fault, session)
    return outcome if isinstance(outcome, int) else 0


def _sound_streams() -> None:
    """Streams that were closed become empty ones; letters a terminal lacks become `?`."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            stream = Path(os.devnull).open(mode, encoding="utf-8")  # noqa: SIM115 - for good
            setattr(sys, name, stream)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
            if sys.platform == "win32" and not stream.isatty():  # a file or a program reads it
                stream.reconfigure(encoding="utf-8")
