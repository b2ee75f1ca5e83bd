"""What the parameters of all gauge pieces have in common: checks, layers, and going into a file.

Not a piece. Stands on `errors`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import asdict, fields
from typing import Any, Self

from asleft.errors import InputError


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
        raise InputError("the piece cannot be made so", hint=hint + ".", where=where)


def demand_above_zero(sizes: dict[str, float]) -> None:
    """Refuse sizes that are nothing, less, or no number."""
    for name, value in sizes.items():
        if not 0 < value < math.inf:
            raise InputError(
                f"{value:g} is impossible here", hint="Give a size above 0.", where=name
            )


def demand_bead(width_mm: float, layer_mm: float) -> None:
    """Refuse a layer that does not go with its line width, whatever the nozzle."""
    demand(
        0.2 * width_mm <= layer_mm <= 0.8 * width_mm,
        "layer_mm",
        f"a layer between {0.2 * width_mm:.2f} and {0.8 * width_mm:.2f} mm goes with this "
        "line width",
    )


def demand_whole_layers(heights_mm: Iterable[float], layer_mm: float, width_mm: float) -> None:
    """Refuse a layer that does not divide every height; the hint names the nearest that does."""
    heights = tuple(heights_mm)
    if all(_whole(height, layer_mm) for height in heights):
        return
    choices = (
        layer
        for layer in (round(0.01 * n, 2) for n in range(4, 100))
        if 0.2 * width_mm <= layer <= 0.8 * width_mm and all(_whole(h, layer) for h in heights)
    )
    nearest = min(choices, key=lambda layer: abs(layer - layer_mm), default=None)
    wrong = next(height for height in heights if not _whole(height, layer_mm))
    hint = f"a height of {wrong:g} mm is no whole number of layers of {layer_mm:g} mm"
    if nearest is None:
        hint += f"; {max(1, round(wrong / layer_mm)) * layer_mm:g} mm is"
    else:
        hint += f"; a layer of {nearest:g} mm would do"
    demand(False, "layer_mm", hint)


def _whole(height_mm: float, layer_mm: float) -> bool:
    return abs(round(height_mm / layer_mm) * layer_mm - height_mm) < 1e-6
