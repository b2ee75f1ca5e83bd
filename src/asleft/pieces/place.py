"""Where a reading is taken on a gauge piece: the seam between drawing, prompt and file.

The label is the same on the drawing, in `piece --json`, in prompts and in readings files.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Place:
    """One place on a piece where the jaws go, in measuring order.

    `label` is short and unique on the piece (`1`, `2`, …). `direction`, `faces` and
    `nominal_mm` are the columns of a span readings file; `where` says in words which
    faces the jaws touch.
    """

    label: str
    direction: str
    faces: str
    nominal_mm: float
    where: str
