"""Words on paper for what the store keeps under short names.

A name is the same in store, JSON and page; paper spells it out. Not for figures: see `figures`.
"""

from __future__ import annotations

import re
from typing import Any

from asleft.record.figures import UNKNOWN, number, with_unit

WORDS = {
    "leave": "leave",
    "adjust": "adjust",
    "inspect": "inspect first",
    "measure_more": "measure more",
    "no_estimate": "no estimate",
    "read_back": "read back",
    "not_stored": "not stored",
    "power_cycled": "power off and on",
    "handed_over": "handed over",
}
STANDING = {
    "in_force": "in force",
    "after_reset": "read after a reset",
    "from_storage": "read from storage",
    "typed": "typed by hand",
    "pasted": "pasted from a report",
}
LABELS = {
    "mpe_mm": "maximum permissible error",
    "max_nozzle_c": "nozzle limit",
    "max_bed_c": "bed limit",
    "max_feed_rate_mm_min": "feed rate limit",
    "rate_baud": "line rate",
    "geometry_steps_per_mm": "steps by drive geometry",
    "u_mm": "standard uncertainty",
    "error_u_mm": "its standard uncertainty",
    "nominal_mm": "known length",
    "room_c": "room temperature",
    "room_u_c": "uncertainty of the room's temperature",
    "nozzle_c": "nozzle temperature",
    "bed_c": "bed temperature",
    "measured_by": "measured by",
}
# Units that a key ends in; the longest fitting end counts.
KEY_UNITS = {
    "steps_per_mm": "steps/mm",
    "mm_min": "mm/min",
    "mm": "mm",
    "c": "°C",
    "g": "g",
    "s": "s",
    "rad": "rad",
    "baud": "baud",
    "percent": "%",
    "minutes": "min",
    "k": "K",
}


def word(state: str) -> str:
    """A state, outcome or verdict in words."""
    return WORDS.get(state, state)


def readable(name: Any) -> str:
    """A name of a quantity or input as words."""
    return str(name).replace("_", " ")


def title(trial: dict[str, Any]) -> str:
    """A trial's heading."""
    return f"Trial {trial['id']}, {trial['kind']}"


def quantity(told: dict[str, Any]) -> str:
    """A quantity's name with its axis or plane, as budgets name it."""
    which = told.get("axis") or told.get("plane") or ""
    return f"{told['name']} {which}".strip()


def told(text: str) -> str:
    """A reason in the words of whoever gave it, with true minus signs."""
    return re.sub(r"(?<![\w.)])-(?=\d)", "−", text)


def sentence(text: str) -> str:
    """A reason as a sentence of its own."""
    text = told(text)
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def named(key: str, value: Any) -> tuple[str, str]:
    """A stored key and value as name and finished text: the unit goes to the number."""
    end = next((end for end in KEY_UNITS if key.endswith(f"_{end}")), None)
    unit = KEY_UNITS[end] if end else ""
    plain = key.removesuffix(f"_{end}") if end else key
    return LABELS.get(key, readable(plain)), _shown(value, unit)


def named_all(values: dict[str, Any]) -> list[tuple[str, str]]:
    """All that is known of a stored object."""
    return [named(key, value) for key, value in values.items() if value is not None]


def _shown(value: Any, unit: str) -> str:
    if isinstance(value, dict):
        parts = [
            f"{name} {_shown(each, unit)}" if unit else " ".join(named(name, each))
            for name, each in value.items()
        ]
        return ", ".join(parts) or UNKNOWN
    if isinstance(value, (list, tuple)):
        joined = " × ".join(number(each) for each in value)
        return f"{joined}\u00a0{unit}".strip() if value else UNKNOWN
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return with_unit(value, unit)
    return UNKNOWN if value is None else str(value)
