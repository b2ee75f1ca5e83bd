"""The proof in a record: what was foretold of the second piece, beside what was read.

Lays the stored prediction, readings and judgement side by side; computes neither.
A second piece's trial is of kind `proof`; its prediction was filed before it was read.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from asleft.record.rows import TrialRow
    from asleft.record.store import Store


def proof(store: Store, calibration_id: int) -> dict[str, Any]:
    """The latest proof, or why there is none.

    Returns:
        `predicted_at`, `trial`, `faces` (label, direction, faces, nominal_mm, predicted_mm,
        low95_mm, high95_mm, reading_mm, inside), `chi2`, `dof`, `p`, `holds`, `reason`,
        `power_cycle`.
    """
    prediction = store.latest_prediction(calibration_id)
    trial = _trial(store, calibration_id)
    told = (trial.result or {}) if trial else {}
    reason = told.get("reason") or (trial.reason if trial else None)
    if prediction is None:
        reason = "no second piece was foretold"
    elif not told:
        reason = reason or "the second piece was foretold but not judged"
    foretold = prediction.details.get("places", []) if prediction else []
    return {
        "predicted_at": prediction.at if prediction else None,
        "trial": trial.id if trial else None,
        "faces": _faces(foretold, told.get("places", [])),
        **{name: told.get(name) for name in ("chi2", "dof", "p", "holds")},
        "reason": reason,
        "power_cycle": _power_cycle(store, calibration_id),
    }


def _trial(store: Store, calibration_id: int) -> TrialRow | None:
    found = [row for row in store.trials(calibration_id) if row.kind == "proof"]
    judged = [row for row in found if row.result is not None]
    candidates = judged or found
    return candidates[-1] if candidates else None


def _faces(foretold: list[dict[str, Any]], judged: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Each foretold face, with what the judgement says of it where it was read.

    The interval is that for the mean of the readings taken, once they were taken.
    """
    by_label = {each["label"]: each for each in judged}
    names = ("label", "direction", "faces", "nominal_mm", "predicted_mm", "low95_mm", "high95_mm")
    return [
        {
            **{name: each.get(name) for name in names},
            "reading_mm": None,
            "inside": None,
            **{
                name: value
                for name, value in by_label.get(each["label"], {}).items()
                if name in (*names, "reading_mm", "inside")
            },
        }
        for each in foretold
    ]


def _power_cycle(store: Store, calibration_id: int) -> dict[str, Any] | None:
    marks = [
        mark
        for change in store.changes(calibration_id)
        for mark in change.marks
        if mark.state == "power_cycled"
    ]
    if not marks:
        return None
    return {"at": marks[-1].at, "survived": marks[-1].details.get("survived", True)}
