"""Verdicts on paper: each stands once, where all the readings that it rests on are."""

from __future__ import annotations

from typing import Any

from asleft.record.sheet_findings import verdicts

SCALE = {
    "name": "printed_scale", "axis": "X", "plane": None, "value": 0.001, "u": 0.0002,
    "low95": 0.0006, "high95": 0.0014, "unit": "1", "reason": None,
}  # fmt: skip
ADJUST = {
    "setting": "steps_per_mm", "axis": "X", "place": "controller", "in_force": 80.0,
    "proposed": 79.92, "u": 0.02, "verdict": "adjust", "provisional": False,
    "p_within_tolerance": 0.4, "p_after": 0.99, "reason": "it is wrong", "withdrawn": None,
}  # fmt: skip


def trial(number: int, *earlier: int) -> dict[str, Any]:
    told = {"trial": {"earlier": list(earlier)}, "basis": {}}
    return {"id": number, "kind": "span", "quantities": [SCALE], "parameters": told, "readings": []}


def test_a_trial_that_was_gone_on_with_leaves_its_verdicts_to_the_later_one():
    document = {
        "trials": [trial(3), trial(4, 3)],
        "proposals": [{**ADJUST, "trial": number} for number in (3, 4)],
    }
    told = str(verdicts(document))
    assert told.count("79.92") == 1
    assert told.index("Trial 4, span goes on from these readings") < told.index("79.92")
