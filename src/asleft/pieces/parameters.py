"""What the parameters of all gauge pieces have in common: checks, layers, and going into a file.

Not a piece. Stands on `errors`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, fields
from typing import Any, Self

from asleft.errors import InputError

WIDEST = 2.0  # line widths that a nozzle lays, over its bore (common practice, no source)
TALLEST = 0.75  # layers that a nozzle lays, over its bore (common practice, no source)
FINE_MM = 0.3  # a nozzle no wider than this is for fine layers (ours)
LAYERS_MM = (0.05, 0.1, 0.125, 0.2, 0.25, 0.5)  # that divide every drawn height


class Parameters:
    """Base of the frozen dataclasses that describe a piece."""

    def to_dict(self) -> dict[str, Any]:
        """Parameters as JSON values."""
        values = asdict(self)  # type: ignore[call-overload]
        return {k: list(v) if isinstance(v, tuple) else v for k, v in values.items()}

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        """The inverse of `to_dict`; keys of newer versions are left out."""
        known = {f.name for f in fields(cls)}  # type: ignore[arg-type]
        kept = {k: v for k, v in values.items() if k in known}
        return cls(**{k: tuple(v) if isinstance(v, list) else v for k, v in kept.items()})


def demand(holds: bool, where: str, hint: str) -> None:
    """Refuse parameters that make no piece.

    Raises:
        InputError: it does not hold; the hint says what would do.
    """
    if not holds:
        hint = f"{hint[:1].upper()}{hint[1:]}."
        raise InputError("the piece cannot be made so", hint=hint, where=where)


def demand_above_zero(sizes: dict[str, float]) -> None:
    """Refuse sizes that are nothing, less, or no number."""
    for name, value in sizes.items():
        if not 0 < value < math.inf:
            raise InputError(
                f"{value:g} is impossible here", hint="Give a size above 0.", where=name
            )


def usual_layer_mm(nozzle_mm: float, width_mm: float) -> float:
    """0.2 mm, 0.1 mm for a fine nozzle, or the nearest that this bead can be laid with."""
    usual = 0.1 if nozzle_mm <= FINE_MM else 0.2
    low, high = _bounds_mm(width_mm, nozzle_mm)
    fitting = [layer for layer in LAYERS_MM if low <= layer <= high]
    return min(fitting, key=lambda layer: abs(layer - usual), default=usual)


def demand_line(width_mm: float, nozzle_mm: float) -> None:
    """Refuse a line that this nozzle cannot lay; the hint names the nearest."""
    low, high = nozzle_mm, WIDEST * nozzle_mm
    if not low - 1e-9 <= width_mm <= high + 1e-9:
        raise InputError(
            f"a nozzle of {nozzle_mm:g} mm cannot lay a line {width_mm:g} mm wide",
            hint=f"A line width of {low if width_mm < low else high:g} mm would do.",
            where="line width",
        )


def demand_layers(
    heights_mm: Iterable[float], layer_mm: float, width_mm: float, nozzle_mm: float = math.inf
) -> None:
    """Refuse a layer that does not go with its line width and nozzle, or divides not every height.

    Raises:
        InputError: the hint names the nearest that does, else a height or a line width.
    """
    heights = tuple(heights_mm)
    low, high = _bounds_mm(width_mm, nozzle_mm)
    goes = low <= layer_mm <= high
    wrong = [height for height in heights if not _whole(height, layer_mm)]
    if goes and not wrong:
        return
    hint = f"layers between {low:.3g} and {high:.3g} mm go with this line and nozzle"
    if goes:
        hint = f"a height of {wrong[0]:g} mm is no whole number of layers of {layer_mm:g} mm"
    choices = (round(0.005 * n, 3) for n in range(8, 200))
    fitting = [c for c in choices if low <= c <= high and all(_whole(h, c) for h in heights)]
    nearest = min(fitting, key=lambda layer: abs(layer - layer_mm), default=None)
    if nearest is not None:
        hint += f"; a layer of {nearest:g} mm would do"
    elif goes:
        hint += f"; {max(1, round(wrong[0] / layer_mm)) * layer_mm:g} mm is"
    else:
        hint += f"; a line width of {2 * layer_mm:g} mm would do"
    demand(False, "layer_mm", hint)


def _bounds_mm(width_mm: float, nozzle_mm: float) -> tuple[float, float]:
    """The lowest and the highest layer of a bead; a little more, so that round numbers hold."""
    return 0.2 * width_mm - 1e-9, min(0.8 * width_mm, TALLEST * nozzle_mm) + 1e-9


def _whole(height_mm: float, layer_mm: float) -> bool:
    return abs(round(height_mm / layer_mm) * layer_mm - height_mm) < 1e-6
