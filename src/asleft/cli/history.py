"""`asleft history`: what the years of a machine have shown, in words, as a table or as CSV.

Not for judging; `bench` says what moved. What is due because of it, `asleft due` says.
"""

from __future__ import annotations

import csv
import io
from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.wording import sentence, table, wrapped

FACTORS = {"1": (100.0, "%"), "rad": (1000.0, "mrad")}
COLUMNS = (
    *("machine", "trial", "name", "axis", "plane", "making", "unit", "calibration"),
    *("trial_id", "at"),
    *("instrument", "found", "u", "since_left", "left", "level", "low", "high"),
    *("ewma", "ewma_low", "ewma_high", "outside", "ewma_outside"),
)
CALLS = {
    "steady": "steady",
    "step": "stepped",
    "drift": "drifts",
    "changed": "moved",
    "unknown": "not known",
}


@click.command("history")
@click.option("--csv", "as_csv", is_flag=True, help="Every point of one machine as CSV.")
@shared_options
@click.pass_obj
def history_command(session: Session, /, *, as_csv: bool) -> int:
    """Tell what each calibration found over the years, and whether it stays, stepped or drifts.

    Of one machine; without a name, where there are several, how far each of them is.
    """
    with session.bench() as bench:
        document = bench.history(session.machine)
    if as_csv and not session.json_asked:
        if document["machine"] is None:
            from asleft.errors import InputError

            raise InputError(
                "there are several machines", hint="Name one with --machine.", where="--csv"
            )
        click.echo(as_table(document), nl=False)
    else:
        session.emit(document, history_lines)
    return 0


def as_table(document: dict[str, Any]) -> str:
    """Every point of `asleft.history/1` as CSV with a header; unknown is empty."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for series in document["series"]:
        for point in series["points"]:
            writer.writerow({"machine": document["machine"], **series, **point})
    return out.getvalue()


def history_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.history/1` for people."""
    if document["machine"] is None:
        lines = ["The workshop's machines:", "", *table(map(_machine, document["machines"]))]
        lines += ["", "Name one with --machine to see its years."]
    else:
        lines = [_told(document["machines"][0])]
        lines += _summary(document["series"])
        for series in document["series"]:
            if series["call"] not in ("steady", "unknown"):
                lines += ["", *_moved(series)]
    for each in document["instruments"]:
        lines += ["", *wrapped(f"{each['instrument']}: {sentence(each['why'])}{_check(each)}")]
    return lines


def _summary(all_series: list[dict[str, Any]]) -> list[str]:
    """A line for each quantity, by trial and making."""
    if not all_series:
        return ["", "No trial was done yet."]
    lines: list[str] = []
    for trial, making in dict.fromkeys((s["trial"], s["making"]) for s in all_series):
        of_it = [s for s in all_series if (s["trial"], s["making"]) == (trial, making)]
        rows = [("", "found last", "now, 95 %", "", "measure again"), *map(_in_short, of_it)]
        lines += ["", f"{trial} trial{f', {making}' if making else ''}:", ""]
        lines += table(rows, right=frozenset({1}))
    if any(s["in_doubt"] for s in all_series):
        lines += ["", "* its interval came near its tolerance, or passed it, when measured last"]
    return lines


def _in_short(series: dict[str, Any]) -> tuple[str, ...]:
    unit, now = series["unit"], series["now"]
    low, high = _shown(now["low95"], unit).split()[0], _shown(now["high95"], unit)
    return (
        _what(series),
        _shown(series["points"][-1]["found"], unit),
        f"{low} to {high}",
        CALLS[series["call"]],
        f"by {series['may_reach']}{'*' if series['in_doubt'] else ''}"
        if series["may_reach"]
        else "",
    )


def _what(series: dict[str, Any]) -> str:
    where = series["axis"] or series["plane"] or ""
    return f"{series['name'].replace('_', ' ')} {where}".strip()


def _machine(past: dict[str, Any]) -> tuple[str, ...]:
    many = "calibration" if past["calibrations"] == 1 else "calibrations"
    when = f"last {past['last'][:10]}" if past["last"] else ""
    return past["machine"], f"{past['calibrations']} {many}", when


def _told(past: dict[str, Any]) -> str:
    name, many, _ = _machine(past)
    since = f" since {past['first'][:10]}" if past["first"] else ""
    return f"{name}: {many}{since}."


def _moved(series: dict[str, Any]) -> list[str]:
    """What moved, how, and every point of it."""
    lines = wrapped(f"{_what(series)} {CALLS[series['call']]}: {series['why']}.")
    stepped = {step["before"] for step in series["steps"]}
    rows = [("", "found", "since left", "level", "u", "", "")]
    rows += [
        (
            point["at"][:10],
            _shown(point["found"], series["unit"]),
            _shown(point["since_left"], series["unit"]),
            _shown(point["level"], series["unit"]),
            _shown(point["u"], series["unit"], signed=False),
            point["instrument"],
            "step" if point["at"][:10] in stepped else "",
        )
        for point in series["points"]
    ]
    return [*lines, *table(rows, right=frozenset({1, 2, 3, 4}))]


def _shown(value: float | None, unit: str, *, signed: bool = True) -> str:
    if value is None:
        return ""
    factor, word = FACTORS.get(unit, (1.0, unit))
    return f"{value * factor:{'+' if signed else ''}.3f} {word}"


def _check(instrument: dict[str, Any]) -> str:
    if not instrument["checks"]:
        return " It was never checked on a known length."
    old = ", which is old" if instrument["check_due"] else ""
    told = f" Last checked {instrument['checks'][-1]['at'][:10]}{old}."
    if instrument["checks_call"] not in ("steady", "unknown"):
        told += f" On the known length: {instrument['checks_why']}."
    return told
