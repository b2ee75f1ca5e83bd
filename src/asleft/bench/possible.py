"""What no machine or instrument at a bench is: refused where it is described, with what would do.

Only what a person gives now is looked at, so that what was filed before can still be amended.
The bounds are wide, common practice, no source: they catch a slip of the hand, nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from asleft.errors import InputError

LARGEST_TRAVEL_MM = 2000.0
WIDEST_NOZZLE_MM = 3.0
THICKEST_FILAMENT_MM = 4.0
COARSEST = 20.0  # resolution over MPE; a rule read to 0.5 mm, with the usual MPE, is at 17
MISTYPED = 10.0  # error on a known length over MPE: a digit of the length is wrong, not the caliper


def require_name(name: str) -> None:
    """Refuse a name that cannot stand in a path or on a line of its own.

    Raises:
        InputError: it has a slash, a backslash or a character that is not printed.
    """
    wrong = next((sign for sign in name if sign in "/\\" or not sign.isprintable()), None)
    if wrong is not None:
        raise InputError(
            f"a name cannot have {wrong!r} in it",
            hint="Letters, digits, spaces and signs like - and _ will do.",
            where="NAME",
        )


def require_machine(given: Mapping[str, Any]) -> None:
    """Refuse sizes that no such machine has.

    Raises:
        InputError: travel, nozzle or filament is larger than any.
    """
    travel_mm = given.get("travel_mm") or ()
    _at_most(max(travel_mm, default=None), LARGEST_TRAVEL_MM, "travel", "--bed")
    _at_most(given.get("nozzle_mm"), WIDEST_NOZZLE_MM, "nozzle", "--nozzle")
    _at_most(given.get("filament_mm"), THICKEST_FILAMENT_MM, "filament", "--filament")


def require_instrument(given: Mapping[str, Any], described: Mapping[str, Any]) -> None:
    """Refuse an instrument that shows far less than it is permitted to be wrong.

    Args:
        given: what is said now.
        described: all that is known then.

    Raises:
        InputError: its resolution is coarser than 20 times its permissible error.
    """
    resolution_mm, mpe_mm = described["resolution_mm"], described["mpe_mm"]
    if {"resolution_mm", "mpe_mm"} & set(given) and resolution_mm > COARSEST * mpe_mm:
        raise InputError(
            f"a resolution of {resolution_mm:g} mm and a permissible error of {mpe_mm:g} mm do not"
            " go together",
            hint=f"Up to {COARSEST * mpe_mm:g} mm will do with it; or give --mpe as well.",
            where="--resolution",
        )


def require_length(error_mm: float, nominal_mm: float, mpe_mm: float) -> None:
    """Refuse a check so far off that the known length, or the readings, were mistyped.

    Raises:
        InputError: the mean is off by more than 10 times the permissible error.
    """
    if abs(error_mm) > MISTYPED * mpe_mm:
        raise InputError(
            f"the readings are {error_mm:+.3f} mm off {nominal_mm:g} mm, with {mpe_mm:g} mm"
            " permissible: a length was mistyped; nothing is kept",
            hint="Look at --length and at the readings. An instrument that is really so far off"
            " needs another --mpe.",
            where="--length",
        )


def _at_most(value: float | None, most: float, what: str, where: str) -> None:
    if value is not None and value > most:
        raise InputError(
            f"{what} of {value:g} mm is impossible",
            hint=f"Give it in mm, up to {most:g}.",
            where=where,
        )
