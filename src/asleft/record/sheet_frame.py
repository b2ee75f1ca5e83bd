"""The parts of the record on paper around the figures: machine, circumstances, instruments.

Finished text from the document alone; what was not said stands there as not said, with what it
means. `sheet` puts the parts in order.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Block, facts, heading, says
from asleft.record.figures import UNKNOWN, decimals_for, time, with_unit
from asleft.record.names import LABELS, named, named_all, sentence

Facts = list[tuple[str, str]]


def machine(document: dict[str, Any]) -> Block:
    """What was calibrated."""
    told = document["machine"]
    described = [
        named(key, value)
        for key, value in told["description"].items()
        if key != "name" and value is not None
    ]
    return facts(
        [("name", told["name"]), ("answers as", told["fingerprint"] or UNKNOWN), *described]
    )


def circumstances(document: dict[str, Any]) -> list[Block]:
    """When and by whom, in what room, of what; and what nobody said."""
    frame = document["calibration"]
    rows: Facts = [
        ("opened", time(frame["opened_at"])),
        ("closed", time(frame["closed_at"]) if frame["closed_at"] else "still open"),
        ("measured by", _persons(document)),
        *_conditions(document["conditions"]),
        *[("making", _making(each)) for each in document["makings"]],
        *[
            ("event", f"{time(each['at'])}: {each['kind']} {each['text']}".strip())
            for each in document["events"]
        ],
    ]
    blocks = [facts(rows)]
    if effect := document.get("room_effect"):
        blocks.append(says(_room(effect)))
    if missing := document.get("conditions_not_said"):
        blocks.append(heading("Not said"))
        blocks.append(
            facts([(_label(each["what"]), sentence(each["meaning"])) for each in missing])
        )
    return blocks


def _persons(document: dict[str, Any]) -> str:
    """Who says that they measured; else whose name stands with the readings."""
    said = document["conditions"].get("measured_by")
    names = [document["calibration"]["person"]]
    names += [each.get("person") for trial in document["trials"] for each in trial["readings"]]
    known = dict.fromkeys(name for name in names if name)
    return said or ", ".join(known) or "a person not named"


def _conditions(said: dict[str, Any]) -> Facts:
    rows = []
    for key, value in said.items():
        if key in ("measured_by", "room_u_c") or value is None:
            continue
        name, shown = named(key, value)
        if key == "room_c" and said.get("room_u_c") is not None:
            shown += f", standard uncertainty {named('room_u_c', said['room_u_c'])[1]}"
        rows.append((name, shown))
    return rows


def _room(effect: dict[str, Any]) -> str:
    """What a room away from 20 °C does, which is told and not corrected."""
    percent = None if effect["scale_u"] is None else 100 * effect["scale_u"]
    digits = decimals_for(percent, default=3)
    u = f"standard uncertainty {with_unit(percent, '%', digits)}" if percent else effect["reason"]
    return (
        f"The room was {with_unit(effect['departure_k'], 'K', 1, sign=True)} from 20\u00a0°C (ISO"
        " 1): read there with a caliper of steel, a printed piece differs by"
        f" {with_unit(100 * effect['scale'], '%', digits, sign=True)} of scale ({u}) from what it"
        " is at 20\u00a0°C. This is not corrected."
    )


def _label(key: str) -> str:
    return LABELS.get(key) or named(key, None)[0]


def _making(making: dict[str, Any]) -> str:
    parts = [named(key, value) for key, value in making.items() if value is not None]
    return "; ".join(shown if name == "name" else f"{name} {shown}" for name, shown in parts)


def instruments(document: dict[str, Any]) -> list[Block]:
    """What was measured with, its checks, and on what its readings rest."""
    if not document["instruments"]:
        return [says("No instrument was used.")]
    return [_instrument(each) for each in document["instruments"]]


def _instrument(told: dict[str, Any]) -> Block:
    about = [
        named(key, value)
        for key, value in told["description"].items()
        if value is not None and key not in ("name", "check")
    ]
    checks = [_check(check) for check in told["checks"]]
    if own := told["description"].get("check"):
        checks.append(_check(own))
    rests = (
        "the known length of its check, and beyond it the maximum permissible error"
        if checks
        else "the maximum permissible error that its maker states, in the budget as type B"
    )
    return facts(
        [
            ("name", told["name"] or "not named"),
            *about,
            *[("check on a known length", check) for check in checks or ["none"]],
            ("its readings rest on", rests),
        ]
    )


def _check(check: dict[str, Any]) -> str:
    parts = [f"{name} {shown}" for name, shown in named_all(check) if name != "at"]
    when = f"{time(check['at'])}: " if check.get("at") else ""
    return when + ", ".join(parts)
