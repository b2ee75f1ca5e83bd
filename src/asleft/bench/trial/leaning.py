"""Whether what a trial leans on stands: feed before bead, for a wrong extruder looks like flow.

Refuses where the feed is known to be wrong, warns where it is not known, and tells the estimate
how well it is known. Stands on the store and on the table of events.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from asleft.bench.desk import Desk
from asleft.bench.years.events import EVENTS
from asleft.errors import RefusedError
from asleft.trials import Basis, Trial

if TYPE_CHECKING:
    from asleft.record import TrialRow

NEVER = "feed was never measured on this machine, and a wrong feed looks like a wrong flow"
UNDECIDED = "the feed trial did not decide, and a wrong feed looks like a wrong flow"
UNKNOWN_STEPS = "the extruder's steps are not known, so the feed found before may not be this one"


def lean(desk: Desk, trial: Trial, basis: Basis) -> Basis:
    """The basis with what the trial takes from earlier ones, and what is shaky in that.

    Raises:
        RefusedError: the feed found last is wrong and was not put right.
    """
    if "feed" not in trial.leans_on:
        return basis
    last = _last_feed(desk)
    if last is None:
        return replace(basis, warnings=(*basis.warnings, NEVER))
    undone = _undone_since(desk, last)
    if undone:
        why = f"feed was measured, but since then {undone}; a wrong feed looks like a wrong flow"
        return replace(basis, warnings=(*basis.warnings, why))
    feed_u, doubt = _stands((last.result or {}).get("proposals", ()), basis)
    return replace(basis, feed_u=feed_u, warnings=(*basis.warnings, *doubt))


def _last_feed(desk: Desk) -> TrialRow | None:
    done = [
        trial
        for calibration in desk.store.calibrations(desk.row.id)
        for trial in desk.store.trials(calibration.id)
        if (trial.kind, trial.outcome) == ("feed", "done")
    ]
    return done[-1] if done else None


def _undone_since(desk: Desk, last: TrialRow) -> str | None:
    """The latest event that undid a feed finding, in words."""
    words = [
        EVENTS[event.kind].words
        for event in desk.store.events(desk.row.id)
        if event.at > (last.ended_at or last.at) and "extruder" in EVENTS[event.kind].undoes
    ]
    return words[-1] if words else None


def _stands(
    proposals: tuple[Mapping[str, Any], ...] | list[Mapping[str, Any]], basis: Basis
) -> tuple[float | None, tuple[str, ...]]:
    """Relative u of the feed in force now, and what is doubtful about it."""
    found = next((p for p in proposals if p["setting"] == "steps_per_mm"), None)
    if found is None or found["verdict"] == "measure_more":
        return None, (UNDECIDED,)
    if found["verdict"] == "inspect":
        raise RefusedError(
            "the feed trial says to look at the extruder first",
            hint="Find out why, measure feed again, then print the bead piece.",
            where="bead",
        )
    now, wanted = _in_force(found["axis"], basis), found["proposed"]
    if now is None or not wanted:
        return None, (UNKNOWN_STEPS,)
    off = now / wanted - 1
    if abs(off) > basis.tolerance.feed:
        raise RefusedError(
            f"feed is {100 * off:+.1f} % off by the feed trial, and a wrong feed looks like a"
            " wrong flow",
            hint="`asleft set --from-findings --store` mends it; then print and read the piece.",
            where="bead",
        )
    return (found["u"] / wanted if found["u"] else None), ()


def _in_force(axis: str, basis: Basis) -> float | None:
    """Steps of an extruder; a machine with one tool calls it by either name."""
    other = {"E": "E0", "E0": "E"}.get(axis, axis)
    return basis.in_force.get(axis, basis.in_force.get(other))
