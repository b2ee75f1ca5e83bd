"""Can a gauge piece tell how square Z stands on X and Y? What it would know, and its cost.

Run it with `python -m benchmarks.leaning`; some seconds. Squareness in XZ is the difference of two
sizes across 45° faces, of which one of each pair is an underside. Geometry and the plan's design
matrix alone: nothing is printed here. The body that is priced is no piece of ours.
"""

from __future__ import annotations

import math

from manifold3d import CrossSection, Manifold, OpType

from asleft.measure import Instrument, plan_span
from asleft.pieces import Place, SpanPiece
from asleft.pieces.cost import DENSITY_G_CM3

FACE_MM = 5.0  # along the slope: less holds no jaw (ours)
ASIDE_MM = 20.0  # jaws of 40 mm touch faces that lie no further beside each other (ours)
UNDER_MM = 0.02  # by how much an underside sags more than its neighbour, sd; a guess, ours
LAYER_MM, WALLS_MM, INSIDE = 0.2, 0.87, 0.15
DEEP_MM, CORE_MM = 8.0, 12.0


def across_mm(wide_mm: float, tall_mm: float) -> float:
    """The longest size across 45° faces on a body so wide and so tall that jaws can reach."""
    usable = min(tall_mm, wide_mm + ASIDE_MM * math.sqrt(2))
    return (wide_mm + usable - FACE_MM * math.sqrt(2)) / math.sqrt(2)


def expected_rad(length_mm: float, places: int) -> tuple[float, float]:
    """u of the lean of Z along X from so many places a diagonal: as planned, with undersides."""
    own = list(SpanPiece().places())
    ways = [f"{plane}{sign}" for plane in ("XZ", "YZ") for sign in "+-"]
    own += [
        Place(f"{way}{n}", way, "outside", length_mm, "") for way in ways for n in range(places)
    ]
    plan = plan_span(own, instrument=Instrument())
    u = next(e.u for e in plan.expected if (e.name, e.axis) == ("shear", "XZ"))
    return u, math.hypot(u, UNDER_MM * math.sqrt(2) / length_mm)


def winged(length_mm: float) -> Manifold:
    """A slim core with four wings below and four above, whose 45° faces lie `length_mm` apart."""
    half = CORE_MM / 2
    out = (length_mm / math.sqrt(2) - ASIDE_MM / math.sqrt(2) + FACE_MM / math.sqrt(2)) / 2
    reach, tall = out - half, length_mm * math.sqrt(2) - CORE_MM
    below = [(half, 0.0), (out, reach), (out, reach + 3), (half, reach + 3)]
    above = [
        (half, tall),
        (half, tall - 2 * reach - 3),
        (out, tall - reach - 3),
        (out, tall - reach),
    ]
    parts = [CrossSection.square((CORE_MM, CORE_MM), True).extrude(tall)]
    for outline in (below, above):
        wing = CrossSection([outline]).extrude(DEEP_MM)
        wing = wing.rotate((90, 0, 0)).translate((0, DEEP_MM / 2, 0))
        parts += [wing.rotate((0, 0, turn)) for turn in (0, 90, 180, 270)]
    return Manifold.batch_boolean(parts, OpType.Add)


def grams(solid: Manifold) -> float:
    """Plastic with two walls and a sparse inside, layer by layer; roofs and skins not counted."""
    volume = 0.0
    for n in range(round(solid.bounding_box()[5] / LAYER_MM)):
        area = solid.slice((n + 0.5) * LAYER_MM)
        inner = area.offset(-WALLS_MM).area()
        volume += LAYER_MM * (area.area() - (1 - INSIDE) * inner)
    return volume / 1000 * DENSITY_G_CM3


def main() -> None:
    """Print what the column could know, and what a body that knows enough would cost."""
    column = SpanPiece()
    slim = across_mm(column.column_width_mm, column.tallest_mm)
    print(f"column {column.column_width_mm:g} mm wide: {slim:.0f} mm across its 45° faces")
    print("across   places a diagonal   u planned   with undersides   (T/4: 0.25 mrad)")
    for length in (slim, 50.0, 80.0, 100.0):
        for places in (2, 4):
            u, real = expected_rad(length, places)
            print(f"{length:5.0f} {places:14d} {u * 1e3:15.2f} {real * 1e3:14.2f} mrad")
    for length in (50.0, 80.0):
        solid = winged(length)
        low_x, _, _, high_x, _, high_z = solid.bounding_box()
        size = f"{high_x - low_x:.0f} mm wide, {high_z:.0f} mm tall"
        print(f"a body for {length:g} mm: {size}, {grams(solid):.1f} g")


if __name__ == "__main__":
    main()
