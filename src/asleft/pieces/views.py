"""The views of a span piece on its drawing: two plans with jaws, one post, the column.

Each view takes the sheet, the piece and the place on paper, and knows no table. Every size
comes from the piece's parameters. Stands on `sheet` and `span`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from asleft.pieces.place import Place
from asleft.pieces.sheet import BOLD, FINE, LINE, PLAIN, SMALL, Point, Sheet, text_width
from asleft.pieces.span import SpanPiece

PLAN = 60.0  # width of the square with its posts on paper
_OFFSET = 9.0  # from a flat to its dimension line
_ALONG = {
    "X": (1.0, 0.0),
    "Y": (0.0, 1.0),
    "XY+": (math.sqrt(0.5), math.sqrt(0.5)),
    "XY-": (-math.sqrt(0.5), math.sqrt(0.5)),
}


def plan(sheet: Sheet, piece: SpanPiece, centre: Point, faces: str) -> None:
    """The piece from above with one kind of jaws at every place that they measure."""
    scale = PLAN / (piece.pitch_mm + piece.post_mm)

    def paper(x: float, y: float) -> Point:
        return centre[0] + x * scale, centre[1] - y * scale

    piece_from_above(sheet, piece, paper, scale)
    rows: dict[str, list[Place]] = {}
    for place in piece.places():
        if place.faces == faces and place.direction in _ALONG:
            rows.setdefault(place.where.rsplit(", ", 1)[0], []).append(place)
    for places in rows.values():
        row_of_jaws(sheet, piece, paper, scale, places)


def axes(sheet: Sheet, at: Point) -> None:
    """Which way the axes run, from `at`; what is nearer to the reader is the front."""
    x, y = at
    sheet.dimension((x, y), (x + 9, y))
    sheet.dimension((x, y), (x, y - 9))
    sheet.text((x + 10, y + 1), "X", PLAIN)
    sheet.text((x - 0.9, y - 10), "Y", PLAIN)
    sheet.text((x, y + 4.5), "front", SMALL)


def piece_from_above(
    sheet: Sheet, piece: SpanPiece, paper: Callable[[float, float], Point], scale: float
) -> None:
    """Ribs, posts and raised letters, without any jaw; `paper` maps mm of the piece to paper."""
    half = piece.pitch_mm / 2
    a, b, c, d = (paper(x * half, y * half) for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
    side, cross = piece.rib_mm(piece.side_beads), piece.rib_mm(piece.diagonal_beads)
    ways = [(a, b), (b, c), (c, d), (d, a), (a, c), (b, d)]
    parts = [
        part
        for way, wide in zip(ways, [side] * 4 + [cross] * 2, strict=True)
        for part in _rib_parts(piece, way, wide, scale)
    ]
    sheet.ribs([ends for ends, _ in parts], [wide for _, wide in parts])
    wide, short = piece.post_mm / 2, piece.flat_mm / 2
    quarter = [(wide, -short), (wide, short), (short, wide), (-short, wide)]
    octagon = quarter + [(-x, -y) for x, y in quarter]
    for sx in (-1, 1):
        for sy in (-1, 1):
            corners = [paper(sx * half + x, sy * half + y) for x, y in octagon]
            sheet.shape(corners, width=BOLD, kind="post")
    # The raised letters, where the piece has them: inside the front and the right rib.
    for mark, (x, y), turn in (("X ▸", paper(0, -half), 0.0), ("Y ▸", paper(half, 0), -90.0)):
        at = (x, y - 3.2) if not turn else (x - 3.2, y)
        sheet.text(at, mark, SMALL, anchor="middle", turn=turn, bold=True)


def _rib_parts(
    piece: SpanPiece, way: tuple[Point, Point], wide: float, scale: float
) -> list[tuple[tuple[Point, Point], float]]:
    """A rib on paper: its low, wide ends and the slim middle, or all of it where it is plain."""
    (x0, y0), (x1, y1) = way
    if not piece.is_raised:
        return [(way, wide * scale)]
    share = piece.low_mm * scale / math.dist(*way)
    near = (x0 + share * (x1 - x0), y0 + share * (y1 - y0))
    far = (x1 - share * (x1 - x0), y1 - share * (y1 - y0))
    slim = piece.rib_mm(piece.middle_beads)
    return [
        ((near, far), slim * scale),
        ((way[0], near), wide * scale),
        ((far, way[1]), wide * scale),
    ]


def row_of_jaws(
    sheet: Sheet,
    piece: SpanPiece,
    paper: Callable[[float, float], Point],
    scale: float,
    places: Sequence[Place],
) -> None:
    """Jaws, dimension line, drawn size and labels of the places of one pair of posts."""
    direction, faces = places[0].direction, places[0].faces
    outside = faces == "outside"
    ux, uy = _ALONG[direction]
    nx, ny = -uy, ux
    row = {"front": -1, "left": 1, "back": 1, "right": -1}[places[0].where.split()[0]]
    off = 0.0 if direction.startswith("XY") else row * piece.pitch_mm / 2
    half = places[0].nominal_mm / 2
    ends = [paper(sign * half * ux + off * nx, sign * half * uy + off * ny) for sign in (-1, 1)]
    away = (ux, -uy)  # the direction on paper, where y runs downwards
    for end, sign in zip(ends, (-1, 1), strict=True):
        way = (sign * away[0], sign * away[1])
        _jaw(sheet, end, way, piece.flat_mm * scale, outside=outside)
    text = " · ".join(f"{p.label} {p.where.rsplit(', ', 1)[1].split()[0]}" for p in places)
    size = f"{places[0].nominal_mm:.2f}"
    if direction.startswith("XY"):
        sheet.dimension(*ends)
        lean = 1 if direction == "XY+" else -1
        at = paper(half * 0.32 * math.sqrt(0.5), lean * half * 0.32 * math.sqrt(0.5))
        sheet.tag(at, text, dark=outside)
        _size(sheet, (at[0], at[1] + 4.6), size)
        return
    shift = _OFFSET * row if outside else 0.0
    across = (nx * shift, -ny * shift)
    line = [(x + across[0], y + across[1]) for x, y in ends]
    for end, far in zip(ends, line, strict=True):
        if outside:
            sheet.line(end, (far[0] + across[0] * 0.15, far[1] + across[1] * 0.15), FINE)
    sheet.dimension(line[0], line[1])
    middle = ((line[0][0] + line[1][0]) / 2, (line[0][1] + line[1][1]) / 2)
    turn = 0.0 if direction == "X" else -90.0
    sheet.tag(middle, text, dark=outside, turn=turn)
    if direction == "X":
        _size(sheet, (middle[0], middle[1] + 4.6 if row < 0 else middle[1] - 2.6), size)
    else:
        beside = 4.6 if row < 0 else -2.6
        _size(sheet, (middle[0] + beside, middle[1]), size, turn=turn)


def _size(sheet: Sheet, at: Point, size: str, *, turn: float = 0.0) -> None:
    wide, high = text_width(size, SMALL) / 2, SMALL
    if turn:
        sheet.blank((at[0] - high * 0.85, at[1] - wide), high, 2 * wide)
    else:
        sheet.blank((at[0] - wide, at[1] - high * 0.85), 2 * wide, high)
    sheet.text(at, size, SMALL, anchor="middle", turn=turn, kind="size")


def _jaw(sheet: Sheet, at: Point, way: Point, flat: float, *, outside: bool) -> None:
    """A jaw at a face that looks along `way` (outside) or against it (inside)."""
    side = (-way[1], way[0])

    def corner(out: float, along: float) -> Point:
        return at[0] + way[0] * out + side[0] * along, at[1] + way[1] * out + side[1] * along

    if outside:  # a broad, dark, flat-faced jaw behind the post
        wide = flat * 0.42
        bar = [corner(0, -wide), corner(0, wide), corner(2.0, wide), corner(2.0, -wide)]
        sheet.shape(bar, fill="#000", width=FINE, kind="jaw-outside")
    else:  # a white knife between the posts, its edge on the flat
        knife = [corner(0, 0), corner(-3.6, 0.9), corner(-3.6, -0.9)]
        sheet.shape(knife, width=LINE, kind="jaw-inside")


def post_from_side(sheet: Sheet, piece: SpanPiece, at: Point) -> None:
    """One post twice as large, with the band where jaws touch; `at` is its middle at the bed."""
    scale = 2.0

    def paper(x: float, z: float) -> Point:
        return at[0] + x * scale, at[1] - z * scale

    half, foot, step = piece.post_mm / 2, piece.foot_mm, piece.foot_height_mm
    base, top = piece.base_height_mm, piece.post_height_mm
    low, high = piece.touch_mm
    far = half + (piece.ledge_mm if piece.is_raised else 9)
    sheet.shape([paper(half, 0), paper(far, 0), paper(far, base), paper(half, base)])
    if piece.is_raised:  # only its beginning
        high = piece.middle_height_mm
        rising = [paper(far, 0), paper(far + 1.5, 0), paper(far + 1.5, high), paper(far, high)]
        sheet.shape(rising, kind="raised")
    outline = [(-half + foot, 0), (half - foot, 0), (half, step), (half, top), (-half, top)]
    sheet.shape([paper(x, z) for x, z in [*outline, (-half, step)]], width=BOLD)
    sheet.line(paper(-half - 3, 0), paper(far + 2, 0), LINE)
    low, high = piece.touch_mm
    band = [paper(-half, low), paper(half, low), paper(half, high), paper(-half, high)]
    sheet.shape(band, fill="#ddd", width=FINE, kind="band")
    middle = (low + high) / 2
    sheet.line(paper(-half - 1, middle), paper(half + 1, middle), FINE, dashed=True)
    for name, z in (("high", (middle + high) / 2), ("low", (low + middle) / 2)):
        x, y = paper(0, z)
        sheet.text((x, y + 0.9), name, SMALL, anchor="middle")
    for z in (low, middle, high):
        x, y = paper(-half, z)
        sheet.line((x - 4, y), (x, y), FINE)
        sheet.text((x - 4.6, y + 0.9), f"{z:g}", SMALL, anchor="end")
    for x_mm, z in ((half + 5, base), (half + 2, top)):
        x, y = paper(x_mm, z)
        sheet.text((x + 0.6, y - 0.9), f"{z:g}", SMALL)
        sheet.line(paper(half, z), (x + 4, y), FINE)


def column_from_side(
    sheet: Sheet, piece: SpanPiece, at: Point, height: float, *, only: str | None = None
) -> None:
    """The column seen from the left, front at the left; `at` is its front foot at the bed face.

    With `only`, the label of a place, the jaws are at that height alone.

    Lands may be drawn wider than true, so that the jaws on them stay legible.
    """
    scale = height / max(piece.column_heights_mm)
    wide = max(piece.land_mm * scale, 6.0)
    lands = piece.lands_mm
    corners: list[Point] = [at]
    for rank, land in enumerate(lands):
        y = at[1] - land * scale
        corners += [(at[0] + rank * wide, y), (at[0] + (rank + 1) * wide, y)]
    right = at[0] + len(lands) * wide
    sheet.shape([*corners, (right, at[1])], width=BOLD, kind="column")
    far = right + 4 + 4.5 * len(lands)
    sheet.line((right, at[1]), (far - 2, at[1]), FINE)
    for rank, land in enumerate(piece.column_heights_mm):
        labels = [p.label for p in piece.places() if p.direction == "Z" and p.nominal_mm == land]
        if only is not None and only not in labels:
            continue
        x, y = right + 5 + rank * 4.5, at[1] - land * scale
        edge = at[0] + (lands.index(land) + 1) * wide
        sheet.line((edge, y), (far, y), FINE)
        sheet.dimension((x, at[1]), (x, y))
        for face, way in ((y, -1.0), (at[1], 1.0)):
            _jaw(sheet, (edge - wide / 2, face), (0.0, way), 3.0, outside=True)
        text = only or " · ".join(labels)  # the table says which spot each of them is
        sheet.tag((far + text_width(text, SMALL) / 2 + 1, y), text, dark=True)
        sheet.text((far + 1, y + 5.0), f"{land:g}", SMALL, kind="size")
