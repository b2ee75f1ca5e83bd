"""Values typed far from those in force: told with how far, taken only if they are meant.

As far as a finding may go before it says "look at the hardware first", and no further. Not for
findings, which carry their own verdicts. Stands on what `measure` calls plausible.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from asleft.bench.person import Ask
from asleft.errors import InputError, Stopped
from asleft.measure import PLAUSIBLE_FEED, PLAUSIBLE_SCALE, PLAUSIBLE_SHEAR
from asleft.units import SKEW_PLANES, is_tool_axis

if TYPE_CHECKING:
    from asleft.bench.desk import Desk


def far_off(before: Mapping[str, float], wanted: Mapping[str, float]) -> dict[str, str]:
    """What each value too far from the one in force departs by, in words; values by name."""
    told = {}
    for name, value in wanted.items():
        held = before.get(name, before.get("E0" if name == "E" else "E" if name == "E0" else name))
        if held is None:
            continue
        if name in SKEW_PLANES:
            if abs(value - held) > PLAUSIBLE_SHEAR:
                told[name] = f"{name}={value:g} is {value - held:+.3f} mm/mm from {held:g} in force"
            continue
        most = PLAUSIBLE_FEED if is_tool_axis(name) else PLAUSIBLE_SCALE
        if held and abs(value / held - 1) > most:
            told[name] = (
                f"{name}={value:g} is {value / held - 1:+.1%} from {held:g} in force, where a sound"
                f" drive is at most {most:.0%} off"
            )
    return told


def need_meant(desk: Desk, before: Mapping[str, float], wanted: Mapping[str, float]) -> None:
    """Ask whether values far from those in force are meant; nothing was sent yet.

    Raises:
        InputError: nobody can say so.
        Stopped: they are not meant.
    """
    told = far_off(before, wanted)
    if not told:
        return
    said = "; ".join(told.values())
    ask = Ask(
        "set.far",
        f"{said}. Is that really meant?",
        cautions=("A wrong value drives an axis into its end, or feeds far too much.",),
        action="approve",
        only_in_person=True,
    )
    try:
        meant = desk.person.confirm(ask)
    except InputError as nobody:
        raise InputError(
            f"{said}: nothing was sent",
            hint="Look at the value again; if it is meant, give --far.",
            where=", ".join(told),
        ) from nobody
    if not meant:
        raise Stopped("not confirmed: nothing was sent", where="set")
