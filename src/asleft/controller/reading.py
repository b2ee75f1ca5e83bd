"""Reading the settings off a machine until two readings agree.

Nothing guards this direction of the line: a digit may be wrong and a report may be cut short, so
settings are believed after two like readings with all axes. Stands on `asking` and `report`.
"""

from __future__ import annotations

from asleft.controller.asking import Asker, Heard
from asleft.controller.heat import ANSWER_S
from asleft.controller.kept import difference
from asleft.controller.report import (
    STEPS_ANSWER,
    STEPS_UNTOLD,
    SettingsReport,
    parse_report,
    settings_with_steps,
)
from asleft.errors import MachineError

_TRIES = 5
_REPORT_S = 20.0


class SettingsReader:
    """Reads one machine's settings. `found_inches` is set when it was working in inches."""

    def __init__(self, asker: Asker) -> None:
        self._asker = asker
        self.found_inches = False

    def read(self) -> SettingsReport:
        """The settings in force.

        The first report is taken before `G21`, so that the units in force are known; the two
        that agree are per mm.

        Returns:
            A complete report, or one that says why it is not.

        Raises:
            LineError, MachineError: the line or the machine failed.
        """
        probe = self._report()
        self.found_inches = self.found_inches or probe.inches
        heard = self._asker.ask("G21", within_s=ANSWER_S, may_refuse=True)
        earlier = None if probe.inches or heard.refusal else probe
        latest = probe
        for _ in range(_TRIES):
            latest = self._report()
            whole = latest.complete or latest.steps_untold
            if earlier is not None and whole and not difference(earlier, latest):
                return latest
            earlier = latest
        return _doubtful(latest)

    def put_units_back(self) -> None:
        """Inches again, if it was working in inches."""
        if self.found_inches:
            self._asker.ask("G20", within_s=ANSWER_S, may_refuse=True)

    def _report(self) -> SettingsReport:
        """M503; where that tells no steps, M92 alone behind it."""
        text = _text(self._asked("M503", within_s=_REPORT_S))
        report = parse_report(text)
        if settings_with_steps(report.settings):
            return report
        heard = self._asked("M92", within_s=ANSWER_S)
        steps = _text(heard)
        told = parse_report(f"{text}{STEPS_ANSWER}\n{steps}") if steps else report
        if settings_with_steps(told.settings) or not (heard.unknown or not steps.strip()):
            return told
        return parse_report(f"{told.raw}{STEPS_UNTOLD}\n")

    def _asked(self, question: str, *, within_s: float) -> Heard:
        """A machine may not know the question; one that stopped is no machine with no settings."""
        heard = self._asker.ask(question, within_s=within_s, may_refuse=True)
        stopped = next((e for e in heard.answer.errors if e.startswith("!!")), None)
        if stopped is not None and not heard.unknown:
            raise MachineError(
                f"the machine says {stopped!r} to {question}, which asks for its settings",
                hint="It stopped: look at the machine, then switch it off and on.",
                where=question,
            )
        return heard


def _text(heard: Heard) -> str:
    """What was said, a line each; errors are not settings."""
    said = [*heard.answer.lines, heard.answer.acknowledged]
    return "".join(f"{line}\n" for line in said if line.strip())


def _doubtful(latest: SettingsReport) -> SettingsReport:
    if not latest.complete:
        return latest
    why = f"no two of {_TRIES + 1} readings were alike: the line may be disturbed"
    return SettingsReport(
        latest.raw, latest.lines, latest.named, latest.inches, why, latest.warnings
    )
