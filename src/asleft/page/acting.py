"""What the forms ask for: each takes what was typed to `bench` and says which sheet comes next.

Every number goes through the one reader of typed numbers. Not for showing anything. Stands on
`house`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import quote

from asleft.errors import InputError
from asleft.page.doing import JOBS
from asleft.page.house import House
from asleft.units import parse_assignments, parse_typed

Form = Mapping[str, str]
Where = Mapping[str, str]
Action = Callable[[House, Where, Form], str]


def describe_machine(house: House, _where: Where, form: Form) -> str:
    """File a machine; the next sheet is its first."""
    told: dict[str, Any] = {"name": form.get("name", "").strip()}
    for key in ("drive", "bed_shape", "address"):
        if form.get(key, "").strip():
            told[key] = form[key].strip()
    for key in ("nozzle_mm", "filament_mm", "max_nozzle_c", "max_bed_c"):
        if form.get(key, "").strip():
            told[key] = _number(form, key, lengths=key.endswith("_mm"))
    if any(form.get(f"travel_{axis}", "").strip() for axis in "xyz"):
        told["travel_mm"] = tuple(_number(form, f"travel_{axis}") for axis in "xyz")
    with house.look() as bench:
        name = bench.describe_machine(told)["name"]
    return path(name, "before")


def describe_instrument(house: House, _where: Where, form: Form) -> str:
    """File a caliper, and a check of it where one was typed."""
    told: dict[str, Any] = {"name": form.get("name", "").strip()}
    for key in ("resolution_mm", "mpe_mm", "reach_mm"):
        if form.get(key, "").strip():
            told[key] = _number(form, key)
    readings = [each for each in form.get("readings", "").split() if each]
    with house.look() as bench:
        name = bench.describe_instrument(told)["name"]
        if readings:
            bench.check_instrument(
                name,
                [parse_typed(each, where="reading") for each in readings],
                nominal_mm=_number(form, "known_mm"),
                u_mm=_number(form, "known_u_mm"),
            )
    return path(form["machine"], "before") if form.get("machine") else "/"


def pasted(house: House, where: Where, form: Form) -> str:
    """Keep a pasted report or typed steps, or file readings already taken; no line is opened."""
    name = where["machine"]
    with house.look(name) as bench:
        if form.get("report", "").strip():
            bench.found_from_report(form["report"], "the page")
        elif form.get("steps", "").strip():
            steps = parse_assignments(form["steps"], where="steps per mm")
            bench.found_from_steps({axis.upper(): value for axis, value in steps.items()})
        elif form.get("readings", "").strip():
            told = {"readings": (form["readings"], "the readings typed"), **_wishes(form)}
            bench.trial(form.get("kind", ""), told)
            return path(name, "finding")
        else:
            raise InputError(
                "nothing was typed", hint="Paste the report, or type the steps per mm."
            )
    return path(name, "before")


def conditions(house: House, where: Where, form: Form) -> str:
    """Keep what was said of the evening for its record; what was left empty is not said."""
    said: dict[str, Any] = {}
    for key in ("measured_by", "where", "material", "spool", "dried"):
        said[key] = form.get(key, "").strip()
    for key in ("room_c", "room_u_c", "nozzle_mm", "nozzle_c", "bed_c"):
        if form.get(key, "").strip():
            said[key] = _number(form, key, lengths=key.endswith("_mm"))
    with house.look(where["machine"]) as bench:
        before = bench.conditions()["conditions"]
        if any(value not in ("", before.get(key)) for key, value in said.items()):
            bench.conditions(said)
    return path(where["machine"], "before")


def do(house: House, where: Where, form: Form) -> str:
    """Begin a job, go on with one, or file an event."""
    what, name = where["what"], where["machine"]
    worker = house.worker(name)
    if what == "go-on":
        worker.resume()
    elif what == "leave":
        worker.leave()
        return path(name, "evening")
    elif what == "release":
        worker.release()
        return path(name, "before")
    elif what == "event":
        kind = form.get("kind", "")
        with house.look(name) as bench:
            bench.event(kind, form.get("text", "").strip())
        return path(name, "evening") + f"?door=replaced&replaced={quote(kind)}"
    elif what == "close":
        with house.look(name) as bench:
            bench.record(bench.last_calibration(), close=True, whole=False)
        return path(name, "take")
    else:
        options = _options(what, form)
        if form.get("anew") and not worker.busy:
            with house.look(name) as bench:
                bench.give_up(options.get("trials") or [options.get("kind", "")])
        worker.start(what, options)
    return path(name, "now")


def _options(what: str, form: Form) -> dict[str, Any]:
    """What a job is begun with."""
    if what not in JOBS:
        raise InputError(f"{what!r} is nothing that can be done here", hint="Use the sheets.")
    if what == "evening":
        trials = form.get("trials", "").split()
        if not trials:
            raise InputError("no job was chosen", hint="Choose one or more for this evening.")
        return {"trials": trials, "wishes": _wishes(form)}
    if what == "trial":
        return {"kind": form.get("kind", ""), "wishes": _wishes(form)}
    if what == "restore":
        return {"kept": int(_number(form, "kept", lengths=False))}
    return {}


def _wishes(form: Form) -> dict[str, Any]:
    """What trials take, from the fields that were filled in."""
    wishes: dict[str, Any] = {}
    if form.get("temperature_c", "").strip():
        wishes["temperature_c"] = _number(form, "temperature_c", lengths=False)
    if form.get("instrument", "").strip():
        wishes["instrument"] = form["instrument"].strip()
    if form.get("gauge_mm", "").strip():
        wishes["piece"] = {
            "gauge_mm": _number(form, "gauge_mm"),
            "parts": form.get("parts", "bores"),
        }
    for key in ("marked_mm", "start_mm", "span_mm"):
        if form.get(key, "").strip():
            wishes[key] = _number(form, key)
    if form.get("along", "").strip():
        wishes["along"] = form["along"].strip()
    return wishes


def _number(form: Form, key: str, *, lengths: bool = True) -> float:
    words = key.removesuffix("_mm").removesuffix("_c").replace("_", " ")
    return parse_typed(form.get(key, ""), where=words, lengths=lengths).value


def path(machine: str, sheet: str) -> str:
    """The address of a machine's sheet."""
    return f"/m/{quote(machine, safe='')}/{sheet}"
