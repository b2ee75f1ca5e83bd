"""`asleft record`: the record of a calibration as PDF, JSON or CSV.

Not for what stands in it; `record` assembles and sets it.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.wording import many, plain, table, wrapped
from asleft.errors import InputError

SUFFIXES = (".pdf", ".json", ".csv")


@click.command("record")
@click.argument("calibration", required=False, type=click.IntRange(1))
@click.option("--out", metavar="FILE", help="Where to: FILE.pdf, FILE.json or FILE.csv.")
@click.option("--check", metavar="FILE", help="Make every estimate of FILE.json anew.")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@click.option("--close", is_flag=True, help="Close the calibration; nothing is added later.")
@shared_options
@click.pass_obj
def record_command(
    session: Session,
    /,
    *,
    calibration: int | None,
    out: str | None,
    check: str | None,
    force: bool,
    close: bool,
) -> int:
    """Write the record of a calibration, the machine's latest if none is named; or check one."""
    if check is not None:
        if calibration is not None or out is not None or close:
            raise InputError(
                "--check reads a record and writes none", hint="Give it alone.", where="--check"
            )
        return _check(session, check)
    path = _checked(out, force=force)
    if path is None and not session.json_asked:
        raise InputError(
            "say where the record goes", hint="Give --out FILE.pdf, or --json.", where="--out"
        )
    with session.bench() as bench:
        document = bench.record(calibration, close=close)
    if path is not None:
        from asleft.record import write_record

        try:
            write_record(document, path)
        except OSError as fault:
            raise InputError(
                f"the record cannot be written: {fault.strerror}",
                hint="Give another place with --out.",
                where=str(path),
            ) from fault

    def told(document: dict[str, Any]) -> list[str]:
        closed = " The calibration is closed." if close else ""
        return [f"The record is in {path}.{closed}", *_missing(document, open_=not closed)]

    session.emit(document, told)
    return 0


def _missing(document: dict[str, Any], *, open_: bool) -> list[str]:
    """What nobody said, while it can still be said."""
    from asleft.cli.conditions import SHOWN

    names = [SHOWN[each["what"]][0] for each in document["conditions_not_said"]]
    if not names or not open_ or document["calibration"]["closed_at"]:
        return []
    return wrapped(f"Nobody said: {', '.join(names)}. `asleft conditions` takes it.")


def _check(session: Session, name: str) -> int:
    """Check a record from itself; 1 where anything differs."""
    from asleft.bench.rechecking import recheck

    try:
        document = json.loads(Path(name).expanduser().read_text(encoding="utf-8"))
    except OSError as fault:
        raise InputError(
            f"the record cannot be read: {fault.strerror}", hint="Check its name.", where=name
        ) from fault
    except ValueError:  # neither text nor JSON: whatever it is, it is none of ours
        document = None
    if not isinstance(document, dict):
        raise InputError(
            "this is no record, or it was cut short",
            hint="Give a file that `asleft record --out FILE.json` wrote.",
            where=name,
        )
    told = recheck(document)
    session.emit(told, _check_lines)
    return 0 if told["same"] else 1


def _check_lines(told: dict[str, Any]) -> list[str]:
    intact = "as they were written" if told["readings_intact"] else "not as they were written"
    lines = [f"{many(told['readings'], 'reading')}, {intact}."]
    if told["intact"] is None:
        lines.append("Written before records had a digest of all: the rest is not checked by it.")
    elif not told["intact"]:
        lines.append("Something in the record is not as it was written.")
    rows = [
        (
            f"trial {each['trial']}",
            each["kind"],
            many(each["figures"], "figure"),
            "the same" if each["same"] else "otherwise",
        )
        for each in told["trials"]
    ]
    lines += table(rows, right=frozenset({2}))
    lines += [
        f"  {each['where']}: {plain(each['recorded'])} recorded,"
        f" {plain(each['recomputed'])} recomputed"
        for each in told["differences"]
    ]
    same = "Everything comes out the same." if told["same"] else "The record does not agree."
    return [*lines, same]


def _checked(out: str | None, *, force: bool) -> Path | None:
    """The path to write to, refused before anything is closed; a file that is there, by force."""
    if out is None:
        return None
    path = Path(out).expanduser()
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(
            f"{path.name!r} has none of the endings {', '.join(SUFFIXES)}",
            hint="The ending chooses the form.",
            where="--out",
        )
    if path.is_dir() or not path.absolute().parent.is_dir():
        raise InputError("this is no place for a file", hint="Check the folder.", where=str(path))
    if path.exists() and not force:
        raise InputError(
            "there is a file of this name",
            hint="Give another one, or --force to write over it.",
            where=str(path),
        )
    return path
