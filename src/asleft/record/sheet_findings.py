"""The part of the record on paper about what was found: quantities, chart, verdicts.

Finished text from the document alone; every unknown stands with its reason.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Align, Block, chart, heading, says, table, verdict
from asleft.record.charts import Interval, interval_chart
from asleft.record.charts_tries import tries_chart, widths_chart
from asleft.record.figures import (
    IN_PERCENT,
    decimals_for,
    estimate,
    percent,
    setting_unit,
    with_unit,
)
from asleft.record.names import quantity, readable, sentence, title, told, word

SHORT = 32  # letters of a remark that has room beside a name


def verdicts(document: dict[str, Any]) -> list[Block]:
    """What was found of each quantity, the chart, and the verdict on each setting."""
    blocks: list[Block] = []
    went_on = _went_on(document)
    for trial in document["trials"]:
        if not trial["quantities"]:
            continue
        mine = [each for each in document["proposals"] if each["trial"] == trial["id"]]
        drawn = scale_chart(trial)
        blocks += [heading(title(trial)), _quantities(trial)]
        blocks += [*_remarks(trial), *_not_found(trial)]
        blocks += [chart(drawn)] if drawn else []
        blocks += [chart(each) for each in reading_charts(trial)]
        if trial["id"] in went_on:
            later = title(went_on[trial["id"]])
            blocks.append(says(f"{later} goes on from these readings: the verdicts stand there."))
        else:
            blocks += _verdicts(mine)
    return blocks or [says("No trial gave an estimate, so there is no verdict.")]


def _went_on(document: dict[str, Any]) -> dict[int, dict[str, Any]]:
    """By trial, the last one with an estimate that counts its readings together with new ones."""
    return {
        number: trial
        for trial in document["trials"]
        if trial["quantities"]
        for number in (trial["parameters"].get("trial") or {}).get("earlier") or ()
    }


def _quantities(trial: dict[str, Any]) -> Block:
    rows = []
    for each in trial["quantities"]:
        name = readable(quantity(each))
        if _is_short(each.get("reason")):
            name += f" ({told(each['reason'])})"
        if each["value"] is not None:
            rows.append([name, *estimate(each)])
    columns: list[tuple[str, Align]] = [
        ("quantity", "left"),
        ("value", "right"),
        ("standard uncertainty", "right"),
        ("95 % interval", "left"),
    ]
    return table(columns, rows, wide=3)


def _with_reason(trial: dict[str, Any], *, found: bool) -> dict[str, list[str]]:
    """Names of quantities by the reason that stands with them; found, or not found."""
    by_reason: dict[str, list[str]] = {}
    for each in trial["quantities"]:
        if (each["value"] is not None) != found:
            continue
        reason = each.get("reason") or ("" if found else "no reason was given")
        if reason and not (found and _is_short(reason)):
            by_reason.setdefault(reason, []).append(readable(quantity(each)))
    return by_reason


def _is_short(reason: str | None) -> bool:
    """Whether it stands beside the name, where it says which one is meant."""
    return bool(reason) and len(str(reason)) <= SHORT


def _remarks(trial: dict[str, Any]) -> list[Block]:
    """What must be known of quantities that were found, one paragraph a remark."""
    return [
        says(f"{', '.join(names)}: {told(reason)}.")
        for reason, names in _with_reason(trial, found=True).items()
    ]


def _not_found(trial: dict[str, Any]) -> list[Block]:
    """The quantities that have no value, one paragraph a reason."""
    return [
        says(f"Not found: {', '.join(names)}. {sentence(reason)}")
        for reason, names in _with_reason(trial, found=False).items()
    ]


def scale_chart(trial: dict[str, Any]) -> str | None:
    """The trial's relative errors against the tolerance, in percent; None without any."""
    tolerance = (trial["parameters"].get("basis") or trial["parameters"]).get("tolerance") or {}
    rows = [
        Interval(
            readable(quantity(each)),
            *(100 * (each[key] - base) for key in ("value", "low95", "high95")),
        )
        for each in trial["quantities"]
        for base in [1.0 if each["name"] in ("fed_ratio", "flow") else 0.0]
        if each["name"] in (*IN_PERCENT, "fed_ratio", "flow")
        and None not in (each["value"], each["low95"], each["high95"])
    ]
    if not rows:
        return None
    key = {"feed": "feed", "bead": "bead"}.get(trial["kind"], "scale")
    band = tolerance.get(key)
    caption = "error with 95 % interval" + ("; band: tolerance" if band else "")
    return interval_chart(
        rows, unit="%", band=100 * band if band is not None else None, caption=caption
    )


def reading_charts(trial: dict[str, Any]) -> list[str]:
    """The readings of a bead trial as a chart, those of a fit trial as one for each kind."""
    if trial["kind"] == "bead":
        return [drawn] if (drawn := widths_chart(trial["readings"])) else []
    if trial["kind"] != "fit":
        return []
    kinds: dict[str | None, list[dict[str, Any]]] = {}
    for reading in trial["readings"]:
        if reading["used"]:
            kinds.setdefault(reading["place"].get("kind"), []).append(reading)
    part = {"bore": "hole", "pin": "shaft"}
    drawn_all = [
        tries_chart(
            rows,
            [
                q
                for q in trial["quantities"]
                if q["name"] in ("clearance", "clearance_loose")
                and (kind is None or q.get("axis") in (None, part[kind]))
            ],
            what=f"{kind}s" if kind else "",
        )
        for kind, rows in kinds.items()
    ]
    return [drawn for drawn in drawn_all if drawn]


def _verdicts(proposals: list[dict[str, Any]]) -> list[Block]:
    """One block a verdict; settings of which all the same is said stand together."""
    alike: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for each in proposals:
        key = (each["setting"], each.get("place", ""), _word(each), *_lines(each))
        alike.setdefault(key, []).append(each)
    return [
        verdict(_of(same), _where(same[0]), _word(same[0]), _lines(same[0]))
        for same in alike.values()
    ]


def _of(same: list[dict[str, Any]]) -> str:
    """Of which settings."""
    return f"{', '.join(str(each['axis']) for each in same)} {readable(same[0]['setting'])}"


def _where(each: dict[str, Any]) -> str:
    """Where it belongs, if not into the controller."""
    return "" if each.get("place", "controller") == "controller" else "in the slicing profile"


def _word(each: dict[str, Any]) -> str:
    return word(each["verdict"]) + (" (provisional)" if each.get("provisional") else "")


def _lines(each: dict[str, Any]) -> list[str]:
    unit = setting_unit(each["setting"], each["axis"])
    digits = decimals_for(each.get("u"), default=4)
    lines = []
    if each.get("in_force") is not None:
        lines.append(f"in force {with_unit(each['in_force'], unit)}")
    if each.get("proposed") is not None:
        u = f", standard uncertainty {with_unit(each['u'], unit, digits)}" if each.get("u") else ""
        said = "proposed" if each["verdict"] == "adjust" else "by the readings"
        lines.append(f"{said} {with_unit(each['proposed'], unit, digits)}{u}")
    p, after = each.get("p_within_tolerance"), each.get("p_after")
    if p is not None:
        then = f"; after adjusting {percent(after)}" if after is not None else ""
        lines.append(f"probability of being within tolerance: {percent(p)}{then}")
    lines.append(told(each["reason"]))
    if each.get("withdrawn"):
        lines.append(f"Withdrawn: {told(each['withdrawn'])}")
    return lines
