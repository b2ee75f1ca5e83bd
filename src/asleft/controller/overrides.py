"""What lies between a commanded length and the motor: overrides, volumetric feeding, the guard.

Read, neutralised for a feed, and put back whatever happens. What a machine does not tell is set
to its power-on default and named in a warning. Stands on `asking`; moves nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from asleft.controller.asking import Asker, tell_also
from asleft.controller.capabilities import parse_percent
from asleft.controller.heat import ANSWER_S
from asleft.controller.report import SettingsReport
from asleft.controller.setting import format_number
from asleft.errors import AsleftError, LineError, MachineError, MachineResetError

_GUARD_DEFAULT_C = 170.0


@dataclass(frozen=True)
class Guard:
    """The cold-feed guard: on, off or untold (None), below what it holds, °C, and its words."""

    is_on: bool | None
    limit_c: float
    told: str = ""


@dataclass
class Neutral:
    """What was found and is put back: lines to send at the end, and what could not be told."""

    put_back: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


@contextmanager
def neutral_feed(asker: Asker, report: SettingsReport, *, tools: int) -> Iterator[Neutral]:
    """Feed as commanded: overrides 100 %, lengths not volumes, relative, in mm.

    Args:
        asker: who asks the machine.
        report: its settings report, for what only that tells (volumetric feeding).
        tools: how many extruders it has.

    Raises:
        MachineError: something could not be neutralised. What was changed is put back.
    """
    found = Neutral()
    try:
        _neutralise_override(asker, "M220", "speed", found)
        for command in ["M221"] if tools == 1 else [f"M221 T{tool}" for tool in range(tools)]:
            _neutralise_override(asker, command, "flow", found)
        _neutralise_volumetric(asker, report, found)
        for command in ("G21", "M83"):
            asker.ask(command, within_s=ANSWER_S)
        found.put_back.append("M82")  # the power-on default; few machines tell
        yield found
    except BaseException as error:
        failure = _send_all(asker, found.put_back, fails=isinstance(error, LineError))
        if failure is not None:
            tell_also(error, failure)
        raise
    failure = _send_all(asker, found.put_back)
    if failure is not None:
        raise failure


@contextmanager
def cold_feed_allowed(asker: Asker) -> Iterator[None]:
    """The cold-feed guard off, for a tube that is detached from the hot end, then on again.

    Raises:
        MachineError: the machine does not let it be switched off, or it could not be seen that
            it is on again (then only the power switch makes sure).
    """
    before = _guard(asker)
    if before.is_on is False:
        raise MachineError(
            f"the cold-feed guard is off already, and not by us: {before.told!r} to M302",
            hint="Switch the machine off and on, so that the guard is on when we leave.",
        )
    try:
        _lift_guard(asker)
        yield
    except BaseException as error:
        failure = _guard_back(asker, before)
        if failure is not None:
            tell_also(error, failure)
        raise
    failure = _guard_back(asker, before)
    if failure is not None:
        raise failure


def _guard_back(asker: Asker, before: Guard) -> AsleftError | None:
    """The guard on again, and seen to be; returns why not.

    One of the two forms is this machine's; the limit comes last, since a machine that ignores P
    may take the first line for leave to feed cold. A restart in between put the guard back, and
    is looked at like anything else.
    """
    why = "the machine restarted again and again"
    forms = ("M302 P0", f"M302 S{format_number(before.limit_c, decimals=0)}")
    for _ in range(3):
        try:
            for form in forms:
                asker.ask(form, within_s=ANSWER_S, may_refuse=True)
            guard = _guard(asker)
        except MachineResetError:
            continue
        except AsleftError as error:
            why = error.message.rstrip(".")
            break
        if (guard.is_on, guard.limit_c) == (True, before.limit_c):
            return None
        why = f"it answers {guard.told!r} to M302"
    return MachineError(
        f"the cold-feed guard could not be seen to be on again ({why})",
        hint="Switch the machine off and on: that puts the guard back.",
    )


def _lift_guard(asker: Asker) -> None:
    for form in ("M302 P1", "M302 S0"):
        heard = asker.ask(form, within_s=ANSWER_S, may_refuse=True)
        if heard.refusal is None and _guard(asker).is_on is not True:
            return
    raise MachineError(
        "the machine keeps its cold-feed guard on", hint="Feed through a hot nozzle."
    )


def _neutralise_override(asker: Asker, command: str, what: str, found: Neutral) -> None:
    """Read a percentage and set it to 100; unknown to the machine means that there is none."""
    heard = asker.ask(command, within_s=ANSWER_S, may_refuse=True)
    if heard.unknown:
        return
    percent = parse_percent(heard.texts)
    if percent is None:
        found.warnings.append(f"the machine does not tell its {what} override; it is set to 100 %")
    elif percent != 100.0:
        found.put_back.append(f"{command} S{format_number(percent)}")
    if percent != 100.0:
        asker.ask(f"{command} S100", within_s=ANSWER_S, awaited=f"{what} at 100 %")
        now = parse_percent(asker.ask(command, within_s=ANSWER_S).texts)
        if now not in (None, 100.0):
            raise MachineError(f"the {what} override stays at {now:g} %, not 100 %")


def _neutralise_volumetric(asker: Asker, report: SettingsReport, found: Neutral) -> None:
    """`M200 D1.75` means that E counts cubic millimetres; `S0` or `D0` that it does not."""
    for line in (s for s in report.settings if s.code == "M200"):
        if line.values.get("S", 1.0) == 0.0 or not line.values.get("D"):
            continue
        tool = "" if line.tool is None else f"T{line.tool} "
        off = "S0" if "S" in line.values else "D0"
        found.put_back.append(line.command)
        asker.ask(f"M200 {tool}{off}", within_s=ANSWER_S, awaited="lengths, not volumes")


def _guard(asker: Asker) -> Guard:
    """Ask for the guard. The wording of the answers is from memory, common practice."""
    heard = asker.ask("M302", within_s=ANSWER_S, may_refuse=True)
    limit_c = _GUARD_DEFAULT_C
    is_on = None
    for text in heard.texts:
        told = re.search(r"(?:\btemp\w*\W+|\bS)(\d+(?:\.\d+)?)", text, re.IGNORECASE)
        limit_c = float(told.group(1)) if told and float(told.group(1)) > 0 else limit_c
        if re.search(r"cold.*\b(enabled|allowed)\b|M302.*\bP1\b", text, re.IGNORECASE):
            is_on = False
        elif re.search(r"cold.*\b(disabled|prevented|denied)\b|M302.*\bP0\b", text, re.IGNORECASE):
            is_on = True
    return Guard(is_on, limit_c, "; ".join(heard.texts) or "ok")


def _send_all(asker: Asker, lines: list[str], *, fails: bool = False) -> AsleftError | None:
    """Send every line, the last one first, also behind one that was refused; returns a failure.

    A line that failed twice (`fails`: once already) is given up: each further try costs time-outs.
    """
    failure: AsleftError | None = None
    for line in reversed(lines):
        try:
            asker.ask(line, within_s=ANSWER_S, awaited="what was found is put back")
        except LineError as error:
            failure = failure or error
            if fails:
                break
            fails = True
        except AsleftError as error:
            failure = failure or error
    return failure
