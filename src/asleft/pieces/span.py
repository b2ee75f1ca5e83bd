"""The span piece: its parameters, and the places where the jaws go, in measuring order.

Four eight-sided posts at the corners of a square, on a ribbed base, and beside it a stepped
column for heights. Not the solid and not the drawing: both are made from these parameters.
Origin in the middle of the square, Z = 0 at the bed. Stands on `errors` and `place`.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, fields
from itertools import pairwise
from typing import Any

from asleft.pieces.parameters import demand, demand_above_zero, demand_layers
from asleft.pieces.place import Place
from asleft.pieces.rib import rib_mm, spacing_mm

OUTER = "outer flats"
INNER = "inner flats"
# (direction, which two posts, from where to where); X and Y have two rows of posts each.
_ROWS = (
    ("X", "front posts", "left to right"),
    ("X", "back posts", "left to right"),
    ("Y", "left posts", "front to back"),
    ("Y", "right posts", "front to back"),
    ("XY+", "front left and back right posts", "across the diagonal"),
    ("XY-", "front right and back left posts", "across the diagonal"),
)
# Two heights of touch a post: layers differ, so each is a face of its own.
_TOUCHES = ("low on the posts", "high on the posts")
_ORDINALS = ("low", "middle", "top")
_SPOTS = ("front left", "front right", "back left", "back right")


@dataclass(frozen=True)
class SpanPiece:
    """The span piece, in mm.

    `pitch_mm` is the square's side from post centre to post centre, `post_mm` the posts' width
    over flats. Ribs are a whole number of beads wide (`side_beads` on the four sides,
    `diagonal_beads` on the two diagonals) as far as `ledge_mm` from a post, where the inside
    jaws go; between, they rise to `middle_height_mm` and are `middle_beads` wide, which bends
    less for the same plastic (`is_raised` says whether there is room for that). Posts and column
    stand back by `foot_mm` at the bed and have their full size from `foot_height_mm`, so that
    first-layer spread meets no jaw. `column_heights_mm` rise; () leaves the column out. `mark` is
    raised on the base.

    Raises:
        InputError: sizes that cannot be printed or measured; the hint says what would do.
    """

    pitch_mm: float = 95.0
    post_mm: float = 12.0
    post_height_mm: float = 15.0
    base_height_mm: float = 9.0
    side_beads: int = 4
    diagonal_beads: int = 4
    middle_height_mm: float = 15.0
    middle_beads: int = 2
    ledge_mm: float = 12.0
    line_width_mm: float = 0.45
    layer_mm: float = 0.2
    foot_mm: float = 0.5
    foot_height_mm: float = 1.0
    column_heights_mm: tuple[float, ...] = (20.0, 60.0, 100.0)
    column_width_mm: float = 12.0
    land_mm: float = 8.0
    mark: str = ""

    def __post_init__(self) -> None:
        """Refuse what could not be printed or measured."""
        # A list would do as well, but equal pieces are to be found again.
        object.__setattr__(self, "column_heights_mm", tuple(self.column_heights_mm))
        given = {f.name: getattr(self, f.name) for f in fields(self)}
        demand_above_zero({k: v for k, v in given.items() if isinstance(v, (int, float))})
        smallest = 3 * self.post_mm
        demand(
            self.pitch_mm >= smallest,
            "pitch_mm",
            f"inside jaws need posts at least {smallest:g} mm apart",
        )
        demand(
            self.post_height_mm >= self.base_height_mm + 6,
            "post_height_mm",
            f"jaws need 6 mm of post above the base: {self.base_height_mm + 6:g} mm would do",
        )
        demand(
            self.rib_mm(max(self.side_beads, self.diagonal_beads)) <= self.flat_mm,
            "side_beads, diagonal_beads",
            f"a rib may be no wider than a post's flat, {self.flat_mm:.2f} mm: "
            f"{1 + int((self.flat_mm - self.line_width_mm) / self.bead_spacing_mm)} beads would do",
        )
        demand(
            self.base_height_mm <= self.middle_height_mm <= self.post_height_mm,
            "middle_height_mm",
            f"{self.base_height_mm:g} to {self.post_height_mm:g} mm would do: the caliper's beam "
            "goes above it",
        )
        demand(
            not self.is_raised or self.middle_beads % 2 == 0,
            "middle_beads",
            f"a raised rib is one wall round, an even number of beads: {self.middle_beads + 1:g} "
            "would do",
        )
        demand(
            self.foot_mm < self.flat_mm / 4 and self.foot_height_mm < self.base_height_mm,
            "foot_mm",
            f"a foot set back {math.floor(2.5 * self.flat_mm - 1e-9) / 10:g} mm and lower than the "
            "base would do",
        )
        self._check_heights()

    def _check_heights(self) -> None:
        """Whole layers, since a printed height is one; rising; at most three lands."""
        heights = self.column_heights_mm
        demand(len(heights) <= 3, "column_heights_mm", "give at most three heights")
        demand(
            all(5 <= h < math.inf for h in heights)
            and all(b - a >= 5 for a, b in pairwise(heights)),
            "column_heights_mm",
            "heights must rise in steps of 5 mm or more",
        )
        # Posts and ribs first: lands are mostly chosen to suit the layer.
        bodies = self.whole_mm[: len(self.whole_mm) - len(heights)]
        for whole in (bodies, self.whole_mm):
            demand_layers(whole, self.layer_mm, self.line_width_mm)

    @property
    def whole_mm(self) -> tuple[float, ...]:
        """Heights that must be whole layers."""
        own = (self.base_height_mm, self.middle_height_mm, self.post_height_mm)
        return (*own, *self.column_heights_mm)

    @property
    def flat_mm(self) -> float:
        """Width of one flat of a post."""
        return self.post_mm * (math.sqrt(2) - 1)

    @property
    def bead_spacing_mm(self) -> float:
        """Distance of neighbouring beads: a stadium section's area over its height."""
        return spacing_mm(self.line_width_mm, self.layer_mm)

    def rib_mm(self, beads: int) -> float:
        """Width of a rib of so many beads laid side by side."""
        return rib_mm(beads, self.line_width_mm, self.layer_mm)

    @property
    def is_raised(self) -> bool:
        """Whether ribs rise between the posts: asked for, and room between the ledges."""
        room = self.pitch_mm - 2 * self.low_mm
        return self.middle_height_mm > self.base_height_mm and room > self.ledge_mm

    @property
    def low_mm(self) -> float:
        """How far from a post's centre a rib is low and wide."""
        return self.post_mm / 2 + self.ledge_mm

    @property
    def tallest_mm(self) -> float:
        """Height of the whole."""
        return max((self.post_height_mm, *self.column_heights_mm))

    @property
    def touch_mm(self) -> tuple[float, float]:
        """Lowest and highest Z at which the jaws touch a post."""
        return self.base_height_mm + 1, self.post_height_mm - 1

    @property
    def column_origin_mm(self) -> tuple[float, float]:
        """X and Y of the column's front left corner on the bed, outside the square."""
        lands = len(self.column_heights_mm)
        return self.pitch_mm / 2 + self.post_mm / 2 + 3, -self.land_mm * lands / 2

    @property
    def lands_mm(self) -> tuple[float, ...]:
        """Heights of the column's lands from front to back; the tallest stands in the middle."""
        heights = self.column_heights_mm
        return heights[0::2] + heights[1::2][::-1]

    def outline_mm(self) -> list[tuple[float, float]]:
        """Outermost corners of everything on the bed, for fitting it onto one."""
        half, short = self.post_mm / 2, self.flat_mm / 2
        middle = self.pitch_mm / 2
        corners = [
            (sx * (middle + dx), sy * (middle + dy))
            for sx in (-1, 1)
            for sy in (-1, 1)
            for dx, dy in ((half, short), (short, half))
        ]
        if self.column_heights_mm:
            x, y = self.column_origin_mm
            corners += [(x + self.column_width_mm, y), (x + self.column_width_mm, -y)]
        return corners

    def places(self) -> tuple[Place, ...]:
        """All readings in measuring order: outside jaws, inside jaws, heights.

        X and Y have four places a kind of jaws, each diagonal two; the lowest and the highest
        land have four, one between has two. Nominals in mm between the two faces that the jaws
        touch.
        """
        found: list[tuple[str, str, float, str]] = []
        for faces, sign, flats in (("outside", 1, OUTER), ("inside", -1, INNER)):
            for direction, posts, way in _ROWS:
                centres = self.pitch_mm * (math.sqrt(2) if direction.startswith("XY") else 1)
                nominal = round(centres + sign * self.post_mm, 4)
                found += [
                    (direction, faces, nominal, f"{posts}, {flats}, {way}, {touch}")
                    for touch in _TOUCHES
                ]
        for rank, height in enumerate(self.column_heights_mm):
            name = _ORDINALS[rank] if len(self.column_heights_mm) > 1 else "top"
            found += [
                ("Z", "outside", height, f"column, bed face to {name} land, {spot}")
                for spot in self._spots(rank)
            ]
        return tuple(Place(str(n), *values) for n, values in enumerate(found, start=1))

    def _spots(self, rank: int) -> tuple[str, ...]:
        """Where on a land: the lowest and the highest tell most of the scale and get four."""
        between = 0 < rank < len(self.column_heights_mm) - 1
        return _SPOTS[:2] if between else _SPOTS

    def to_dict(self) -> dict[str, Any]:
        """Parameters as JSON values."""
        return {**asdict(self), "column_heights_mm": list(self.column_heights_mm)}

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> SpanPiece:
        """The inverse of `to_dict`; keys of newer versions are left out.

        A piece kept before ribs could rise has plain ones.
        """
        known = {f.name for f in fields(cls)}
        kept = {k: v for k, v in values.items() if k in known}
        kept.setdefault("middle_height_mm", kept.get("base_height_mm", cls.base_height_mm))
        if "column_heights_mm" in kept:
            kept["column_heights_mm"] = tuple(kept["column_heights_mm"])
        return cls(**kept)

    @classmethod
    def for_machine(
        cls,
        *,
        bed_shape: str,
        travel_mm: tuple[float, float, float],
        reach_mm: float,
        column: bool = True,
        **sizes: Any,
    ) -> SpanPiece:
        """The largest span piece for this bed and this caliper; see `fit.largest_piece`.

        Its ribs are as wide as the light force of a caliper asks, unless `side_beads` is given.
        """
        from asleft.pieces.check import stiffened
        from asleft.pieces.fit import largest_piece

        piece = largest_piece(
            bed_shape=bed_shape, travel_mm=travel_mm, reach_mm=reach_mm, column=column, **sizes
        )
        return piece if "side_beads" in sizes else stiffened(piece)
