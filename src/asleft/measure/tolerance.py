"""How much error is harmless: the T of every verdict, per kind of quantity.

Not an uncertainty: what the owner wants, not what the instrument can. Stands on `units`.
"""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass

from asleft.errors import InputError
from asleft.units import parse_typed

_ITEM = re.compile(r"\s*(?P<name>[a-z_]+)\s*=\s*(?P<number>[0-9.,]+)\s*(?P<unit>%|mrad|rad|mm)?\s*")
_UNITS = {
    "scale": {"%": 0.01, None: 1.0},
    "shear": {"mrad": 1e-3, "rad": 1.0, None: 1.0},
    "feed": {"%": 0.01, None: 1.0},
    "bead": {"%": 0.01, None: 1.0},
    "growth": {"mm": 1.0, None: 1.0},
}


@dataclass(frozen=True)
class Tolerance:
    """Half-widths of what is harmless: relative, shear in rad, growth in mm (both faces)."""

    scale: float = 0.001
    shear: float = 1e-3
    feed: float = 0.01
    bead: float = 0.03
    growth: float = 0.1

    @classmethod
    def parse(cls, text: str) -> Tolerance:
        """Read `scale=0.1%,shear=1mrad,feed=1%,bead=3%`; what is left out keeps its default.

        Raises:
            InputError: an unknown name or unit, a name given twice, 0 or no number.
        """
        found: dict[str, float] = {}
        for part in re.split(r"[,;\s]+(?=[a-z_]+\s*=)", text.strip()):
            match = _ITEM.fullmatch(part)
            name = match["name"] if match else part.partition("=")[0].strip()
            units = _UNITS.get(name)
            if match is None or units is None or match["unit"] not in units:
                raise InputError(
                    f"{part!r} is not a tolerance",
                    hint="Write for example scale=0.1%,shear=1mrad,feed=1%,bead=3%.",
                    where="tolerance",
                )
            where = f"tolerance {name}"
            if name in found:
                raise InputError(f"{name} is given twice", hint="Give it once.", where=where)
            value = parse_typed(match["number"], where=where, lengths=False).value
            found[name] = value * units[match["unit"]]
            if not 0 < found[name] < 1:
                below = f"{1 / units[match['unit']]:g} {match['unit'] or ''}".strip()
                raise InputError(
                    f"{part!r} is impossible",
                    hint=f"Give a size above 0 and below {below}.",
                    where=where,
                )
        return cls(**found)

    def to_dict(self) -> dict[str, float]:
        """JSON values: relative, rad, mm."""
        return asdict(self)
