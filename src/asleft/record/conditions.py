"""What was said of an evening beside its readings, and what it means where something was not.

Said at any time while a calibration is open; of each key the latest counts, all that was said
stays. Corrects nothing: a doubt that the budget does not have is told, not added.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from asleft.errors import InputError

REFERENCE_C = 20.0  # the temperature at which sizes hold: ISO 1
STEEL_PER_K = 11.5e-6  # expansion of a caliper's beam; from memory, no source
TEXTS = ("measured_by", "where", "material", "spool", "dried")
# Lowest and highest that is believed; beyond it a unit or a digit is wrong.
NUMBERS = {
    "room_c": (-10.0, 50.0),
    "room_u_c": (0.0, 15.0),
    "nozzle_mm": (0.05, 3.0),
    "nozzle_c": (100.0, 500.0),
    "bed_c": (0.0, 200.0),
}
WORDS = {
    "room_c": "room temperature, °C",
    "room_u_c": "uncertainty of the room temperature, °C",
    "nozzle_mm": "nozzle, mm",
    "nozzle_c": "nozzle temperature, °C",
    "bed_c": "bed temperature, °C",
}
KEYS = ("measured_by", "where", *NUMBERS, "material", "spool", "dried")
LONGEST = 200
# Whose findings need to know it.
OF_PRINTS = ("span", "bead", "fit", "proof")


def checked(said: Mapping[str, Any]) -> dict[str, Any]:
    """What was said, without what was left empty.

    Raises:
        InputError: a number that cannot be, a text too long, an unknown key.
    """
    found: dict[str, Any] = {}
    for key, value in said.items():
        if value is None or value == "":
            continue
        if key in NUMBERS:
            low, high = NUMBERS[key]
            if not low <= float(value) <= high or (key == "room_u_c" and not value):
                raise InputError(
                    f"{value:g} is impossible here",
                    hint=f"Between {low:g} and {high:g} is possible; leave out what is not known.",
                    where=WORDS[key],
                )
            found[key] = float(value)
        elif key in TEXTS and len(str(value)) <= LONGEST:
            found[key] = str(value).strip()
        else:
            raise InputError(
                f"{key!r} is no condition" if key not in TEXTS else "this is too long for a record",
                hint=f"Known are {', '.join(KEYS)}; a text has {LONGEST} letters at most.",
                where=key,
            )
    return found


def in_force(said: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Of each key what was said last; a new room temperature needs its own uncertainty."""
    latest: dict[str, Any] = {}
    for each in said:
        if "room_c" in each:
            latest.pop("room_u_c", None)
        latest |= each
    return {key: latest[key] for key in (*KEYS, *latest) if key in latest}


def not_said(
    conditions: Mapping[str, Any], kinds: Sequence[str], *, named: bool
) -> list[dict[str, str]]:
    """What nobody said, and what that means for the findings of trials of these kinds.

    Args:
        conditions: what was said.
        kinds: of trials.
        named: whether a person's name stands with the calibration or its readings.

    Returns:
        `what`, a key, and `meaning`, a sentence.
    """
    from asleft.measure.span.design import EXPANSION_PER_K

    means = {"measured_by": "of whose hand the readings' scatter is, is not known"}
    if named:
        means = {}
    if set(kinds) & set(OF_PRINTS):
        per_k = 100 * (EXPANSION_PER_K - STEEL_PER_K)
        means |= {
            "room_c": "sizes hold for the room as it was. The budget has the doubt of a piece"
            " warmer than the room, not a room away from 20\u00a0°C (ISO 1): that would be"
            f" {per_k:.4f}\u00a0% of scale a kelvin, as plastic grows more than steel",
            "material": "growth, flow, shrinkage and fit hold for a plastic that is not named;"
            f" its expansion is taken as {1e6 * EXPANSION_PER_K:g} millionths a kelvin",
            "spool": "whether a later piece is of the same spool cannot be told",
            "nozzle_c": "bead and shrinkage change with the heat of the nozzle, which is not known",
            "bed_c": "the first layer changes with the heat of the bed, which is not known",
            "dried": "damp filament lays wider beads; how damp it was is not known",
        }
        if conditions.get("room_c") is not None:
            means["room_u_c"] = "the uncertainty of the room's temperature is not known"
    return [{"what": key, "meaning": text} for key, text in means.items() if key not in conditions]


def room(conditions: Mapping[str, Any], kinds: Sequence[str]) -> dict[str, Any] | None:
    """What the room's temperature does to a scale that was read from a printed piece.

    Returns:
        `departure_k` from 20 °C, `scale` (how much larger the piece was against the caliper than
        both are at 20 °C, a ratio), its standard uncertainty `scale_u` or None with `reason`; None
        where the temperature was not said or no piece was read. Not corrected.
    """
    if conditions.get("room_c") is None or not set(kinds) & set(OF_PRINTS):
        return None
    from asleft.measure.span.design import EXPANSION_PER_K

    per_k = EXPANSION_PER_K - STEEL_PER_K
    departure, u = conditions["room_c"] - REFERENCE_C, conditions.get("room_u_c")
    return {
        "departure_k": departure,
        "scale": per_k * departure,
        "scale_u": None if u is None else per_k * u,
        "reason": "the uncertainty of the room's temperature was not said" if u is None else None,
    }
