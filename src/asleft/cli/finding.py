"""What was found, in plain words: quantities, verdicts, what was set aside, lines to copy.

Not for estimating or judging: it puts the JSON of `asleft.solve/1` into sentences and tables.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from asleft.cli.wording import notes, sentence, table, wrapped

VERDICTS = {
    "leave": "leave it as it is",
    "adjust": "adjust it",
    "inspect": "look at the hardware first",
    "measure_more": "measure more before deciding",
}
NAMES = {
    "printed_scale": "printed scale",
    "motion_scale": "motion scale",
    "first_layer": "first layer",
    "caliper_zero": "caliper zero",
    "fed_ratio": "fed of what was commanded",
    "slip_rate": "slip begins at",
    "clearance": "begins to turn at",
    "clearance_loose": "begins to be loose at",
    "gauge": "your own part",
    "part_scatter": "one to the next",
}
# Their reason says what to enter or to draw, in its own unit: not once more as a number.
_TOLD_BY_REASON = frozenset({"flow", "clearance"})
_UNSIGNED = frozenset({"fed_ratio", "flow", "slip_rate", "repeatability", "gauge", "part_scatter"})
_RATIOS = frozenset({"1", "ratio", "", "mm/mm"})


def result_lines(result: Mapping[str, Any]) -> list[str]:
    """One result of `asleft.solve/1` as lines: what was found, and what to do."""
    lines = ["What was found, with the interval that holds it 95 times of 100:", ""]
    lines += quantity_table(result["quantities"])
    lines += _unknown_lines(result["quantities"])
    for proposal in result["proposals"]:
        lines += ["", *proposal_lines(proposal)]
    if result["set_aside"]:
        lines += ["", "Set aside, and why:"]
        for each in result["set_aside"]:
            where = f"place {each['place']}" if each.get("place") else f"row {each['row']}"
            lines += wrapped(f"{where}, {each['reading_mm']:g} mm: {each['why']}", indent="  ")
    warnings = notes(result["warnings"])
    return [*lines, *([""] if warnings else []), *warnings]


def quantity_table(quantities: Iterable[Mapping[str, Any]]) -> list[str]:
    """One aligned row a known quantity: name, value, interval, a unit behind every number."""
    known_ones = [q for q in quantities if q["value"] is not None]
    widest = max((len(_unit(q)[1]) for q in known_ones), default=0)
    rows = []
    for quantity in known_ones:
        factor, unit, signed = _unit(quantity)
        digits = _digits(quantity["u"], factor)
        form = f"{'+' if signed else ''}.{digits}f"
        known = quantity["low95"] is not None and quantity["high95"] is not None
        ends = [_formed(quantity[end] * factor, form) for end in ("low95", "high95") if known]
        value = _formed(quantity["value"] * factor, form)
        unit = unit.ljust(widest)
        interval = (ends[0], "to", f"{ends[1]} {unit}") if known else ("", "", "not known")
        rows.append((_name(quantity), f"{value} {unit}", *interval))
    return table(rows, right=frozenset({1, 2, 4}))


def _formed(value: float, form: str) -> str:
    """The number; what rounds to nothing has no sign of its own."""
    text = format(value, form)
    return text if float(text) else format(0.0, form)


def _unknown_lines(quantities: Iterable[Mapping[str, Any]]) -> list[str]:
    """What is not known and why, each reason once."""
    names: dict[str, list[str]] = {}
    for quantity in quantities:
        if quantity["value"] is None:
            names.setdefault(quantity["reason"] or "no reason was given", []).append(
                _name(quantity)
            )
    lines: list[str] = []
    for reason, unknown in names.items():
        lines += ["", *wrapped(f"Not known: {', '.join(unknown)}. {sentence(reason)}")]
    return lines


def proposal_lines(proposal: Mapping[str, Any]) -> list[str]:
    """The verdict on one setting, its reason, and old and new value where there are any."""
    what = f"{proposal['setting'].replace('_', ' ')} {proposal['axis']}"
    verdict = VERDICTS.get(proposal["verdict"], proposal["verdict"])
    if proposal["provisional"]:
        verdict += ", then measure again"
    lines = wrapped(f"{sentence(what)[:-1]}: {verdict}. {sentence(proposal['reason'])}")
    in_words = proposal["setting"] in _TOLD_BY_REASON
    if proposal["verdict"] == "adjust" and proposal["proposed"] is not None and not in_words:
        lines += wrapped(_old_and_new(proposal), indent="  ")
    return lines


def copy_lines(result: Mapping[str, Any]) -> list[str]:
    """What a person may copy to the machine: the lines for everything that is to be adjusted."""
    from asleft.controller.report import parse_report
    from asleft.controller.writing import setting_lines

    wanted: dict[str, float] = {}
    in_force: dict[str, float] = {}
    for proposal in result["proposals"]:
        if proposal["place"] != "controller" or proposal["proposed"] is None:
            continue
        if proposal["verdict"] == "adjust":
            digits = 6 if proposal["setting"] == "skew" else 4  # more means nothing, and is copied
            wanted[proposal["axis"]] = round(proposal["proposed"], digits)
        if proposal["in_force"] is not None:
            in_force[proposal["axis"]] = proposal["in_force"]
    if not wanted:
        return []
    before = parse_report(_report_text(in_force, skew=any(a in _SKEW_LETTERS for a in wanted)))
    return [
        "",
        "To copy to the machine; read back, and store only what is right:",
        "",
        *(f"  {line}" for line in setting_lines(wanted, before)),
    ]


_SKEW_LETTERS = {"XY": "I", "XZ": "J", "YZ": "K"}


def _report_text(in_force: Mapping[str, float], *, skew: bool) -> str:
    """The settings in force as a report, so that the lines come out as for a connected machine."""
    plain = {axis: value for axis, value in in_force.items() if axis in ("X", "Y", "Z", "E")}
    lines = ["M92 " + " ".join(f"{axis}{value:.6f}" for axis, value in plain.items())]
    lines += [f"M92 T{a[1:]} E{v:.6f}" for a, v in in_force.items() if a[0] == "E" and a[1:]]
    if skew:
        lines.append("M852 I0.000000 J0.000000 K0.000000")
    if {"L", "R"} <= set(in_force):
        lines.append(f"M665 L{in_force['L']:.6f} R{in_force['R']:.6f}")
    return "\n".join(lines) + "\n"


def _old_and_new(proposal: Mapping[str, Any]) -> str:
    """Old value and new, or what the slicing profile is to allow for."""
    factor, unit = _setting_unit(proposal)
    digits = _digits(proposal["u"], factor)
    if proposal["place"] == "making":
        value = f"{proposal['proposed'] * factor:+.{digits}f} {unit}"
        return f"In the slicing profile, allow for {value}."
    new = f"{proposal['proposed'] * factor:.{digits}f} {unit}"
    if proposal["in_force"] is None:
        return f"The value in force is unknown; proposed {new}."
    return f"In force {proposal['in_force'] * factor:.{digits}f} {unit}; proposed {new}."


def _setting_unit(proposal: Mapping[str, Any]) -> tuple[float, str]:
    """Factor and unit of a setting: steps/mm, mm, and ratios in per cent."""
    setting = proposal["setting"]
    if setting == "steps_per_mm":
        return 1.0, "steps/mm"
    if setting == "skew":
        return 1.0, "mm/mm"
    return (1.0, "mm") if setting in ("growth", "arm_length", "radius") else (100.0, "%")


def _name(quantity: Mapping[str, Any]) -> str:
    name = NAMES.get(quantity["name"], quantity["name"].replace("_", " "))
    where = quantity.get("axis") or quantity.get("plane")
    if quantity["name"] == "caliper_zero" and quantity["reason"]:
        return f"caliper, {quantity['reason']}"
    return f"{name} {where}" if where else name


def _unit(quantity: Mapping[str, Any]) -> tuple[float, str, bool]:
    """Factor, unit and whether a sign is shown: ratios in per cent, angles in mrad."""
    signed = quantity["name"] not in _UNSIGNED
    if quantity["unit"] in _RATIOS:
        return 100.0, "%", signed
    if quantity["unit"] == "rad":
        return 1000.0, "mrad", signed
    return 1.0, quantity["unit"], signed


def _digits(u: float | None, factor: float) -> int:
    """Decimals that show two digits of the standard uncertainty, as is usual in a certificate."""
    if u is None or not u > 0 or not math.isfinite(u):
        return 4
    return min(6, max(0, 1 - math.floor(math.log10(u * factor))))
