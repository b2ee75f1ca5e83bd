"""Numbers as they stand on paper: rounded by their uncertainty, never without a unit.

Scale errors are shown in percent and angles in mrad; the JSON keeps plain ratios and rad.
An unknown is a dash, and whoever shows it puts the reason beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import isfinite
from typing import Any

from asleft.units import decimals_of

UNKNOWN = "—"
RATIO = "mm/mm"
AS_THE_REPORT = "as printed"  # a value whose unit a report does not tell
# Relative errors, shown in percent; other ratios (fed_ratio, flow) are shown as they are.
IN_PERCENT = ("printed_scale", "motion_scale", "shrinkage")
UNSIGNED = ("fed_ratio", "flow", "gauge", "part_scatter")
SETTING_UNITS = {
    "steps_per_mm": "steps/mm",
    "skew": RATIO,
    "growth": "mm",
    "shrinkage": RATIO,
    "flow": RATIO,
    "clearance": "mm",
}


def shown_unit(unit: str, name: str = "") -> tuple[str, float]:
    """The unit on paper and the factor to it, for a quantity of this unit and name."""
    if unit == "rad":
        return "mrad", 1e3
    if unit in ("", "1", "ratio"):
        return ("%", 1e2) if name in IN_PERCENT else (RATIO, 1.0)
    return unit, 1.0


def decimals_for(u: float | None, *, default: int = 3) -> int:
    """Decimals so that an uncertainty shows two significant digits (JCGM 100, 7.2.6)."""
    if u is None or not isfinite(u) or u <= 0:
        return default
    return min(8, decimals_of(u))


def number(value: Any, decimals: int | None = None, *, sign: bool = False) -> str:
    """A number with a true minus sign; a dash when it is unknown.

    Without `decimals` it is shown in full, as it was kept.
    """
    if value is None:
        return UNKNOWN
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return str(value)
    text = f"{value:.10g}" if decimals is None else f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    if sign and value > 0 and float(text) != 0:
        text = "+" + text
    return text.replace("-", "−")


def with_unit(value: Any, unit: str, decimals: int | None = None, *, sign: bool = False) -> str:
    """A number and its unit with a no-break space, or a dash."""
    text = number(value, decimals, sign=sign)
    return text if text == UNKNOWN or not unit else f"{text}\u00a0{unit}"


def alike(values: Sequence[Any], unit: str) -> list[str]:
    """Numbers with the same number of decimals, as many as the longest of them needs."""
    shown = [number(value) for value in values if isinstance(value, (int, float))]
    plain = all("e" not in text for text in shown)
    decimals = max((len(text.partition(".")[2]) for text in shown), default=0) if plain else None
    return [with_unit(value, unit, decimals) for value in values]


def estimate(told: dict[str, Any]) -> tuple[str, str, str]:
    """Value, standard uncertainty and 95 % interval of a quantity, each with its unit."""
    unit, factor = shown_unit(str(told.get("unit") or ""), str(told.get("name") or ""))
    value, u, low, high = (
        None if told.get(key) is None else told[key] * factor
        for key in ("value", "u", "low95", "high95")
    )
    digits = decimals_for(u)
    sign = told.get("name") not in UNSIGNED
    interval = UNKNOWN
    if low is not None and high is not None:
        interval = f"{number(low, digits, sign=sign)} to {number(high, digits, sign=sign)}"
        interval += f"\u00a0{unit}"
    return with_unit(value, unit, digits, sign=sign), with_unit(u, unit, digits), interval


def setting_unit(setting: str, axis: str) -> str:
    """The unit of a setting by its name, or by that of its axis where it is named so."""
    if setting in SETTING_UNITS:
        return SETTING_UNITS[setting]
    name = axis or setting
    if name in ("XY", "XZ", "YZ"):
        return RATIO
    if name in ("X", "Y", "Z") or name.startswith("E"):
        return "steps/mm"
    # Angles of towers, segments a second and the like: in whatever the machine means by them.
    other = name.startswith("tower_") or (len(name) == 1 and name not in "LRH")
    return AS_THE_REPORT if other else "mm"


def time(text: str | None) -> str:
    """A stored time as paper shows it, to the second and with its zone."""
    return UNKNOWN if text is None else f"{text[:10]} {text[11:19]} UTC"


def percent(p: float | None) -> str:
    """A probability in percent; what is nearly sure or nearly impossible is said so."""
    if p is None:
        return UNKNOWN
    if p < 0.001:
        return "< 0.1\u00a0%"
    if p > 0.999:
        return "> 99.9\u00a0%"
    return f"{100 * p:.1f}\u00a0%"
