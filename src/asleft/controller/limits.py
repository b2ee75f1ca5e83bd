"""What a machine may be asked for: lengths, rates, temperatures and tools of its description.

Plain functions, so that a list of steps is checked by the same rules as the machine that runs it.
Nothing is sent here. Stands on `description`; places in the travel are `motion`'s.
"""

from __future__ import annotations

from asleft.controller.description import MachineDescription
from asleft.errors import InputError, RefusedError
from asleft.link import GuardLimits

LONGEST_FEED_MM = 1000.0  # a spool's worth of one trial; longer is a slip of the finger (ours)


def guard_limits(description: MachineDescription) -> GuardLimits:
    """What the owner of the line holds to, whoever commands."""
    return GuardLimits(max_nozzle_c=description.max_nozzle_c, max_bed_c=description.max_bed_c)


def check_tool(tool: int, description: MachineDescription, *, where: str | None = None) -> None:
    """Refuse a tool that the machine does not have.

    Raises:
        InputError: names how many it has.
    """
    if not 0 <= tool < description.tools:
        raise InputError(
            f"there is no tool {tool}: the machine has {description.tools}",
            hint="The first tool is 0.",
            where=where or "tool",
        )


def check_target(
    target_c: float,
    tool: int,
    description: MachineDescription,
    *,
    material_limit_c: float = float("inf"),
    where: str | None = None,
) -> None:
    """Refuse a nozzle temperature that is none, or above what machine or material bear.

    Args:
        target_c: °C.
        tool: 0 for the first.
        description: whose limit binds.
        material_limit_c: °C, of the filament; the lower of the two binds.
        where: what the error names instead of `temperature`.

    Raises:
        InputError: no such tool, or no temperature.
        RefusedError: above the limit.
    """
    check_tool(tool, description, where=where)
    limit_c = min(material_limit_c, description.max_nozzle_c)
    if not 0 < target_c < float("inf"):
        raise InputError(
            f"{target_c:g} °C is no target",
            hint="Give a temperature from the filament's label.",
            where=where or "temperature",
        )
    if target_c > limit_c:
        raise RefusedError(
            f"{target_c:g} °C is above this nozzle's limit of {limit_c:g} °C",
            hint="Choose a lower temperature.",
            where=where or "temperature",
        )


def check_feed(
    length_mm: float,
    rate_mm_min: float,
    tool: int,
    description: MachineDescription,
    *,
    where: str | None = None,
) -> None:
    """Refuse a feed of no length, too long, or faster than the machine's owner allows.

    Args:
        length_mm: commanded, mm.
        rate_mm_min: mm of filament a minute.
        tool: 0 for the first.
        description: whose rate binds.
        where: what the error names instead of `length`, `rate` or `tool`.

    Raises:
        InputError: no such tool, or a length or rate out of bounds.
    """
    check_tool(tool, description, where=where)
    if not 0 < length_mm <= LONGEST_FEED_MM:
        raise InputError(
            f"{length_mm:g} mm is no length to feed",
            hint=f"Give more than 0 and at most {LONGEST_FEED_MM:g} mm.",
            where=where or "length",
        )
    limit = description.max_feed_rate_mm_min
    if not 0 < rate_mm_min <= limit:
        raise InputError(
            f"{rate_mm_min:g} mm/min is no rate to feed at",
            hint=f"Give more than 0 and at most this machine's {limit:g} mm/min.",
            where=where or "rate",
        )
