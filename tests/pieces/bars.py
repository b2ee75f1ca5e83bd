"""The bars that a finished tool path is held against, figure by figure.

From the file as `path_reader` reads it and from the triangles of the STL; the planner is not
asked. Demands are those of the requirements of the pieces.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field

import numpy as np
import shapely
import trimesh
from path_reader import Model, Move, polygons, reaches, read_path, width_mm
from shapely import LineString, MultiLineString
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

SKIN_MM = 0.8
SHELL_MM = 0.4
# What rounding places to 0.001 mm can put outside.
ROUNDED_MM = 0.003


@dataclass
class Faces:
    """Measured faces on a layer: lines on the model's boundary and places with normals."""

    lines: BaseGeometry
    places: np.ndarray
    normals: np.ndarray


@dataclass
class Figures:
    """One value a bar; `problems` names what is beyond."""

    boundary_mean: float = 0.0
    boundary_layer: float = 0.0
    boundary_inner: float = 0.0
    boundary_worst: float = 0.0
    area: tuple[float, float] = (0.0, 0.0)
    volume: tuple[float, float] = (1.0, 1.0)
    shell: float = 1.0
    outside_first: float = 0.0
    outside_above: float = 0.0
    travel_over: int = 0
    seams_on: int = 0
    faults: list[str] = field(default_factory=list)
    height: float = 0.0
    open_edges: int = 0
    highest_mm3_s: float = 0.0

    def problems(self, most_mm3_s: float) -> list[str]:
        """Bars not met."""
        bars = {
            "boundary mean": abs(self.boundary_mean) <= 0.005,
            "boundary, each layer": self.boundary_layer <= 0.01,
            "boundary, 1 to 99 %": self.boundary_inner <= 0.02,
            "boundary, worst": self.boundary_worst <= 0.03,
            "solid area": max(map(abs, self.area)) <= 0.015,
            "volume": self.volume[0] >= 0.96 and self.volume[1] <= 1.01,
            "shell covered": self.shell >= 0.99,
            "outside on the first layer": self.outside_first <= 0.5,
            "outside above": self.outside_above <= 2e-3,
            "travel over a measured face": self.travel_over == 0,
            "seam on a measured face": self.seams_on == 0,
            "faults": not self.faults,
            "height": self.height <= 0.01,
            "open or collapsed triangles": self.open_edges == 0,
            "volumetric speed": self.highest_mm3_s <= most_mm3_s * 1.01,
        }
        return [f"{name}: {self}" for name, met in bars.items() if not met]


def flats(centre, across_mm, inner, names=range(8), spare_mm=0.3):
    """Flats of an octagon as lines with places and normals; 0 looks to +X, then by 45°."""
    lines, places, normals = [], [], []
    half = across_mm / 2
    reach = half * math.tan(math.pi / 8) - spare_mm
    for n in names:
        a = n * math.pi / 4
        out, along = np.array([math.cos(a), math.sin(a)]), np.array([-math.sin(a), math.cos(a)])
        ends = [np.array(centre) + half * out + t * along for t in (-reach, reach)]
        lines.append(LineString(ends))
        for share in (0.0, 0.2, 0.5, 0.8, 1.0):
            places.append(ends[0] * (1 - share) + ends[1] * share)
            normals.append(-out if inner else out)
    return lines, places, normals


def gathered(groups) -> Faces:
    """One object of many groups of lines, places, normals."""
    lines, places, normals = ([x for group in groups for x in group[k]] for k in range(3))
    return Faces(MultiLineString(lines), np.array(places), np.array(normals))


def span_faces(piece, z):
    """Above the ribs: of each post's eight flats the six that jaws touch."""
    if not piece.base_height_mm < z < piece.post_height_mm:
        return None
    half = piece.pitch_mm / 2
    groups = []
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        free = {1, 5} if sx * sy < 0 else {3, 7}
        touched = [n for n in range(8) if n not in free]
        spare = piece.line_width_mm / 4 + 0.1
        groups.append(flats((sx * half, sy * half), piece.post_mm, False, touched, spare))
    return gathered(groups)


def bead_faces(piece, z):
    """Both sides of the wall, corners left out."""
    width = piece.widths_mm[min(int(z / piece.band_mm), len(piece.widths_mm) - 1)]
    outer = flats((0, 0), piece.flats_mm + width, False, spare_mm=1.5)
    inner = flats((0, 0), piece.flats_mm - width, True, spare_mm=1.5)
    return gathered([outer, inner])


def fit_faces(piece, z):
    """Bores but for their notch, pins but for their flat."""
    groups = []
    sizes = [*piece.bores, *piece.pins]
    for n, (centre, size) in enumerate(zip(piece.centres_mm(), sizes, strict=True)):
        is_bore = n < len(piece.bores)
        low = piece.foot_height_mm if is_bore else piece.head_mm
        if not low < z < (piece.height_mm if is_bore else piece.head_mm + piece.height_mm):
            continue
        radius = size / 2
        if is_bore:
            # The notch is a circle of the relief's radius about the bore's front.
            half = 2 * math.asin(piece.relief_mm / 2 / radius)
        else:
            half = math.acos(1 - piece.relief_mm / radius)
        half += 2 * piece.line_width_mm / radius
        turns = np.linspace(-math.pi / 2 + half, 1.5 * math.pi - half, 40)
        out = np.stack([np.cos(turns), np.sin(turns)], axis=1)
        ring = np.array(centre) + radius * out
        groups.append(([LineString(ring)], list(ring), list(-out if is_bore else out)))
    return gathered(groups) if groups else None


def figures(piece, stl: bytes, text: str, settings, faces_of, solid_of) -> Figures:
    """All figures of one file.

    `faces_of(piece, z)` tells the measured faces, `solid_of(piece, z)` the area in which a
    layer must be closed (None: the whole of it; False: nowhere).
    """
    mesh = trimesh.load(io.BytesIO(stl), file_type="stl")
    read = read_path(text, filament_mm=settings.filament_mm)
    found = Figures(faults=read.faults, highest_mm3_s=read.highest_mm3_s)
    found.open_edges = 0 if mesh.is_watertight and mesh.area_faces.min() > 0 else 1
    model = Model(mesh)
    laid_z = {z: moves for z, moves in read.layers.items() if any(m.fed_mm3 for m in moves)}
    heights = sorted(laid_z)
    found.height = abs(heights[-1] - mesh.bounds[1][2])
    layer = piece.layer_mm
    gaps = np.diff([0.0, *heights])
    found.height = max(found.height, float(np.abs(gaps - layer).max()))
    home = shift_of(mesh, settings)
    home = home + drawn_together(
        laid_z[heights[3]], model.area(heights[3] - layer / 2), home, layer
    )
    around = shapely.box(*(mesh.bounds[0][:2] - 1.0), *(mesh.bounds[1][:2] + 1.0))
    edge, areas, volumes = [], [], []
    known = {}
    for n, z in enumerate(heights):
        middle = z - layer / 2
        area = model.area(middle)
        faces = faces_of(piece, middle)
        moves = [moved(m, home) for m in laid_z[z]]
        key = (
            id(area),
            faces is None,
            *((round(m.start[0], 3), round(m.end[1], 3), round(m.fed_mm3, 3)) for m in moves),
        )
        if n > 1 and hash(key) in known:
            continue
        known[hash(key)] = True
        own = [m for m in moves if around.covers(LineString([m.start, m.end]))]
        if n == 0:
            prime_lies_clear(moves, own, area, settings, home, found)
        laid = polygons(own, layer)
        outside = laid.difference(area.buffer(ROUNDED_MM)).area
        if n == 0:
            found.outside_first = outside
        else:
            found.outside_above = max(found.outside_above, outside)
        # No round bead fills a sharp corner: those are left out.
        round_mm = 0.45 * min(getattr(piece, "widths_mm", (piece.line_width_mm,)))
        shell = area.buffer(-round_mm).buffer(round_mm).difference(area.buffer(-SHELL_MM))
        found.shell = min(found.shell, laid.intersection(shell).area / shell.area)
        closed = solid_of(piece, middle)
        if closed is not False:
            share, volume = solidity(own, laid, area, closed, layer)
            areas.append(share)
            if volume is not None:
                volumes.append(volume)
        if faces is not None:
            beyond = reaches(laid, faces.places, faces.normals) - reaches(
                area, faces.places, faces.normals
            )
            edge.append(beyond)
            found.boundary_layer = max(found.boundary_layer, abs(float(beyond.mean())))
            trespass(moves, faces, found, layer)
    if edge:
        every = np.concatenate(edge)
        found.boundary_mean = float(every.mean())
        found.boundary_inner = float(np.abs(np.percentile(every, [1, 99])).max())
        found.boundary_worst = float(np.abs(every).max())
    found.area = (min(areas), max(areas))
    found.volume = (min(volumes), max(volumes))
    return found


def shift_of(mesh, settings):
    """From the machine's frame into the piece's: middle of the bed to middle of the piece."""
    corner = settings.origin == "corner" or (
        settings.origin is None and settings.bed_shape == "square"
    )
    bed = np.array(settings.travel_mm[:2]) / 2 if corner else np.zeros(2)
    if settings.bed_shape == "round":
        circle = shapely.minimum_bounding_circle(shapely.multipoints(mesh.vertices[:, :2]))
        own = np.array([circle.centroid.x, circle.centroid.y])
    else:
        own = mesh.bounds[:, :2].mean(axis=0)
    return own - bed


def drawn_together(moves, area, home, layer) -> np.ndarray:
    """What is left to the middle of the bed after the rule, at most 0.5 mm: outlines are round."""
    laid = polygons([moved(m, home) for m in moves], layer).bounds
    drawn = area.bounds
    left = [(drawn[k] + drawn[k + 2] - laid[k] - laid[k + 2]) / 2 for k in (0, 1)]
    assert max(map(abs, left)) < 0.5, f"the piece lies {left} beside the middle of the bed"
    return np.array(left)


def moved(m: Move, by) -> Move:
    ends = ((m.start[0] + by[0], m.start[1] + by[1]), (m.end[0] + by[0], m.end[1] + by[1]))
    return Move(*ends, m.fed_mm3, m.mm_s, m.line)


def prime_lies_clear(moves, own, area, settings, home, found) -> None:
    """The line beside the piece: within the bed, 1 mm clear of it, laid before it."""
    beside = [m for m in moves if m.fed_mm3 and m not in own]
    if not beside or beside[-1].line > min(m.line for m in own if m.fed_mm3):
        found.faults.append("no line is laid beside the piece before it")
        return
    line = polygons(beside, 0.2)
    if line.distance(area) < 1:
        found.faults.append("the line beside the piece is too near")
    x, y = settings.travel_mm[0] / 2, settings.travel_mm[1] / 2
    bed = shapely.box(-x, -y, x, y)
    if settings.bed_shape == "round":
        bed = shapely.Point(0, 0).buffer(x, quad_segs=64)
    corner = settings.origin == "corner" or (
        settings.origin is None and settings.bed_shape == "square"
    )
    at = np.array([x, y]) if corner else np.zeros(2)
    if not translate(bed, *(at + home)).covers(line):
        found.faults.append("the line beside the piece leaves the bed")


def solidity(own, laid, area, closed, layer):
    """Share of area too much or too little, and volume over that of stadium beads."""
    if closed is not None:
        wanted = area.intersection(closed)
        return laid.intersection(wanted).area / wanted.area - 1, None
    volume = sum(m.fed_mm3 for m in own)
    model = area.area * layer - area.length * layer**2 * (1 - math.pi / 4) / 2
    return laid.area / area.area - 1, volume / model


def trespass(moves, faces, found, layer) -> None:
    """Travel across a measured face, and beads that begin or end on one."""
    # Before anything is laid there is no face yet.
    begun = next(n for n, m in enumerate(moves) if m.fed_mm3)
    travel = [LineString([m.start, m.end]) for m in moves[begun:] if not m.fed_mm3]
    if travel:
        found.travel_over += int(shapely.intersects(travel, faces.lines).sum())
    for before, m in zip([None, *moves], [*moves, None], strict=True):
        ends = []
        if before is not None and before.fed_mm3 and (m is None or not m.fed_mm3):
            ends.append((before.end, before))
        if m is not None and m.fed_mm3 and (before is None or not before.fed_mm3):
            ends.append((m.start, m))
        for at, laid in ends:
            near = width_mm(laid, layer) / 2 + 0.05
            found.seams_on += shapely.Point(at).distance(faces.lines) < near
