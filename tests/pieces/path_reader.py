"""Reads a finished tool path as a strict machine would, and looks at what it lays.

Shares no code with the planner: own words, own geometry (shapely), own rules. A bead is taken
as a stadium; its width follows from the filament fed, the length moved and the layer's height.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

import numpy as np
import shapely
import trimesh
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

WORD = re.compile(r"([A-Z])(-?\d+(?:\.\d+)?)")
ALLOWED = set(
    "G0 G1 G21 G28 G90 G92 M82 M83 M84 M104 M106 M107 M109 M140 M190".split()  # noqa: SIM905
)


@dataclass
class Move:
    """One straight move; `fed_mm3` is plastic laid on the way, 0 in travel."""

    start: tuple[float, float]
    end: tuple[float, float]
    fed_mm3: float
    mm_s: float
    line: int

    @property
    def length(self) -> float:
        return math.dist(self.start, self.end)


@dataclass
class Read:
    """What the file does: moves by height, and every fault against the rules of a machine."""

    layers: dict[float, list[Move]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    highest_mm3_s: float = 0.0
    filament_mm: float = 0.0
    low: list[float] = field(default_factory=lambda: [math.inf] * 3)
    high: list[float] = field(default_factory=lambda: [-math.inf] * 3)
    hottest_c: float = 0.0


class Machine:
    """A machine that notes every fault instead of refusing."""

    def __init__(self, filament_mm: float) -> None:
        self.section = math.pi / 4 * filament_mm**2
        self.read = Read()
        self.at = {"X": 0.0, "Y": 0.0, "Z": 0.0, "E": 0.0}
        self.absolute = self.relative_feed = self.inches = None
        self.homed = self.hot = self.motors_off = False
        self.told_c = {"nozzle": 0.0, "bed": 0.0}
        self.back_mm = 0.0  # how far the filament is drawn back
        self.mm_min = 0.0

    def run(self, text: str) -> Read:
        for number, raw in enumerate(text.splitlines(), start=1):
            line = raw.split(";")[0].strip()
            if line:
                self.step(line, number)
        if any(self.told_c.values()):
            self.fault("a heater stays on", 0)
        if not self.motors_off:
            self.fault("motors stay on", 0)
        return self.read

    def fault(self, what: str, number: int) -> None:
        self.read.faults.append(f"line {number}: {what}")

    def step(self, line: str, number: int) -> None:  # noqa: C901 - one branch a code
        words = WORD.findall(line)
        if "".join(a + b for a, b in words) != line.replace(" ", ""):
            self.fault(f"cannot be read: {line}", number)
            return
        code = words[0][0] + words[0][1]
        values = {letter: float(value) for letter, value in words[1:]}
        if code not in ALLOWED:
            self.fault(f"{code} is not a plain code", number)
        self.read.codes.append(code)
        if code in ("G0", "G1"):
            self.move(values, number)
        elif code == "G90":
            self.absolute = True
            self.relative_feed = False  # some controllers take G90 for the feed too
        elif code in ("M82", "M83"):
            self.relative_feed = code == "M83"
        elif code == "G21":
            self.inches = False
        elif code == "G28":
            self.homed = True
        elif code == "G92":
            if set(values) != {"E"}:
                self.fault("G92 of more than the feed", number)
            self.at["E"] = values["E"]
        elif code in ("M104", "M109", "M140", "M190"):
            self.heat(code, values["S"])
        elif code == "M84":
            self.motors_off = True

    def heat(self, code: str, told_c: float) -> None:
        heater = "nozzle" if code in ("M104", "M109") else "bed"
        self.told_c[heater] = told_c
        self.read.hottest_c = max(self.read.hottest_c, told_c)
        self.hot = told_c > 0 if code == "M109" else self.hot and self.told_c["nozzle"] > 0

    def move(self, values: dict[str, float], number: int) -> None:
        if not self.homed or not self.absolute or self.inches is not False:
            self.fault("moves before it is homed and told how", number)
        if self.motors_off:
            self.fault("moves with motors off", number)
        self.mm_min = values.pop("F", self.mm_min)
        if not 0 < self.mm_min < 30000:
            self.fault("has no rate", number)
        before = dict(self.at)
        for letter, value in values.items():
            relative = letter == "E" and self.relative_feed
            self.at[letter] = before[letter] + value if relative else value
        fed = self.at["E"] - before["E"]
        start, end = (before["X"], before["Y"]), (self.at["X"], self.at["Y"])
        moved = math.dist(start, end)
        if abs(fed) > 1e-9:
            self.feed(fed, moved, number)
        if "Z" in values and moved > 0:
            self.fault("a slanting move", number)
        if moved > 0 and not (fed > 1e-9 and self.back_mm > 1e-6):
            self.note(Move(start, end, max(fed, 0.0) * self.section, self.mm_min / 60, number))

    def feed(self, fed: float, moved: float, number: int) -> None:
        if not self.hot:
            self.fault("feeds cold", number)
        if moved == 0:
            self.back_mm -= fed
            if self.back_mm < -1e-4:
                self.fault("pushes out more than was drawn back", number)
            if abs(self.back_mm) < 1e-4:
                self.back_mm = 0.0
            return
        if fed < 0:
            self.fault("negative feed while moving", number)
        if self.back_mm > 1e-6:
            self.fault("feeds while drawn back", number)
        self.read.filament_mm += fed

    def note(self, move: Move) -> None:
        read, z = self.read, self.at["Z"]
        read.layers.setdefault(round(z, 4), []).append(move)
        if move.fed_mm3:
            rate = move.fed_mm3 / move.length * move.mm_s
            read.highest_mm3_s = max(read.highest_mm3_s, rate)
        for k, value in enumerate((*move.end, z)):
            read.low[k], read.high[k] = min(read.low[k], value), max(read.high[k], value)


def read_path(text: str, *, filament_mm: float) -> Read:
    """Run a file on the strict machine."""
    return Machine(filament_mm).run(text)


def width_mm(move: Move, layer_mm: float) -> float:
    """Width of the stadium that takes this plastic: A = (w − h)·h + π·h²/4, solved for w."""
    section = move.fed_mm3 / move.length
    return section / layer_mm + layer_mm * (1 - math.pi / 4)


def polygons(moves: list[Move], layer_mm: float) -> BaseGeometry:
    """All beads of a layer as one area."""
    laid = [m for m in moves if m.fed_mm3 > 0]
    if not laid:
        return Polygon()
    # Beads of one width that touch end to end are one line: fewer, and as true.
    lines: list[tuple[float, list[tuple[float, float]]]] = []
    for m in laid:
        w = width_mm(m, layer_mm)
        if lines and lines[-1][1][-1] == m.start and abs(lines[-1][0] - w) < 0.003:
            lines[-1][1].append(m.end)
        else:
            lines.append((w, [m.start, m.end]))
    shapes = [LineString(points).buffer(w / 2, quad_segs=12) for w, points in lines]
    return shapely.union_all(shapes)


def at_home(moves: list[Move], around: Polygon) -> list[Move]:
    """Moves without the line laid beside the piece."""
    return [m for m in moves if around.covers(LineString([m.start, m.end]).centroid)]


def reaches(
    area: BaseGeometry, places: np.ndarray, normals: np.ndarray, deep_mm: float = 0.15
) -> np.ndarray:
    """How far an area reaches beyond places (n, 2) along their normals, from a little inside."""
    ends = np.stack([places - deep_mm * normals, places + 1.0 * normals], axis=1)
    cut = shapely.intersection(shapely.linestrings(ends), area)
    found = np.full(len(places), -np.inf)
    for n, part in enumerate(cut):
        points = shapely.get_coordinates(part)
        if len(points):
            found[n] = ((points - places[n]) @ normals[n]).max()
    return found


class Model:
    """A solid's level cuts as areas, from the triangles of its file alone."""

    def __init__(self, mesh: trimesh.Trimesh) -> None:
        self.mesh = mesh
        self.levels = np.unique(mesh.vertices[:, 2].round(4))
        self._known: dict[float, BaseGeometry] = {}

    def area(self, z: float) -> BaseGeometry:
        """The cut at a height; the same object where nothing changes between two heights."""
        above = int(np.searchsorted(self.levels, z))
        low, high = self.levels[above - 1], self.levels[above]
        zs = self.mesh.triangles[:, :, 2]
        through = (zs.min(axis=1) < z) & (zs.max(axis=1) > z)
        upright = np.abs(self.mesh.face_normals[through, 2]).max() < 1e-6
        key = (low + high) / 2 if upright else z
        if key not in self._known:
            self._known[key] = self._cut(key)
        return self._known[key]

    def _cut(self, z: float) -> BaseGeometry:
        pieces = trimesh.intersections.mesh_plane(self.mesh, [0, 0, 1], [0, 0, z])[:, :, :2]
        lines = shapely.linestrings(np.round(pieces, 4))
        merged = shapely.line_merge(shapely.multilinestrings(lines))
        result: BaseGeometry = Polygon()
        for ring in shapely.get_parts(merged):
            assert ring.is_closed, "a cut through a closed solid is closed"
            result = result.symmetric_difference(Polygon(ring))
        return result
