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
        `predicted_at`, `trial`, `faces` (label, direction, faces, nominal_mm, predicted_mm, u,
        low95, high95, reading_mm, inside), `chi2`, `dof`, `p`, `reason`, `power_cycle`.
    """
    prediction = store.latest_prediction(calibration_id)
    trial = _trial(store, calibration_id)
    told = (trial.result or {}) if trial else {}
    faces = told.get("predicted") or told.get("faces") or []
    reason = told.get("reason") or (trial.reason if trial else None)
    if prediction is None:
        reason = "no second piece was foretold"
    elif not told:
        reason = reason or "the second piece was foretold but not judged"
        faces = prediction.details.get("predicted") or prediction.details.get("places") or []
    return {
        "predicted_at": prediction.at if prediction else None,
        "trial": trial.id if trial else None,
        "faces": [_face(each) for each in faces],
        "chi2": told.get("chi2"),
        "dof": told.get("dof"),
        "p": told.get("p"),
        "agrees": told.get("agrees"),
        "reason": reason,
        "power_cycle": _power_cycle(store, calibration_id),
    }


def _trial(store: Store, calibration_id: int) -> TrialRow | None:
    found = [row for row in store.trials(calibration_id) if row.kind == "proof"]
    judged = [row for row in found if row.result is not None]
    candidates = judged or found
    return candidates[-1] if candidates else None


def _face(told: dict[str, Any]) -> dict[str, Any]:
    """One face; whether it came out inside is told, else plain from the three numbers."""
    names = ("label", "direction", "faces", "nominal_mm", "predicted_mm", "u", "low95", "high95")
    face: dict[str, Any] = {name: told.get(name) for name in names}
    face["label"] = told.get("label") or told.get("place")
    face["reading_mm"] = read = told.get("reading_mm", told.get("read_mm"))
    inside = told.get("inside")
    if inside is None and None not in (read, face["low95"], face["high95"]):
        inside = face["low95"] <= read <= face["high95"]
    face["inside"] = inside
    return face


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
