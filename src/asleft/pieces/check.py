"""How far a span piece gives under the caliper's jaws, by a beam model. Computed, not measured.

Ribs are beams between the post centres and the middle of the cross, low and wide at their ends,
raised and slim between; posts are rigid arms up to the jaws; nothing rests on a table. Longer
beams than the clear ribs make it err to the soft side; layers that bond badly would be softer
still. Stands on `span` and numpy.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from asleft.pieces.span import SpanPiece

Matrix = npt.NDArray[np.float64]

MODULUS_N_MM2 = 2400.0  # printed PLA along its beads; from memory, varies by a third
POISSON = 0.35  # from memory
GIVES_MM = 0.03  # what a post may give under that force (ours)
FORCE_N = 5.0  # a firm thumb on a caliper; light measuring is nearer 2 N (common practice)

# How far along a wide end the stress of a slim middle goes until it has spread by 1 to a side;
# found with `benchmarks/rib_in_bricks.py`, where the frame and solid elements then agree to 2 %.
SPREAD = 3.5
_LEAST_MM = 1e-6  # shorter is no beam
_SLIM_MM = 0.7  # two beads stand by themselves if they are that wide together (ours)
_MOST_RISES = 5

_CORNERS = ((-1, -1), (1, -1), (1, 1), (-1, 1))  # posts, counted from front left
_SIDES = ((0, 1), (1, 2), (2, 3), (3, 0))
_PUSHED = {"X": (0, 1), "Y": (1, 2), "XY+": (0, 2), "XY-": (1, 3)}


@dataclass(frozen=True)
class Stiffness:
    """By how much the distance between two posts gives at the jaws, mm, per direction.

    It has one sign for outside and the other for inside jaws, so that equal force cancels in
    scale and remains in growth.
    """

    force_n: float
    gives_mm: dict[str, float]
    basis: str = "computed by a beam model, not measured"

    @property
    def worst_mm(self) -> float:
        """The largest of them."""
        return max(self.gives_mm.values())

    @property
    def post_mm(self) -> float:
        """How far one post moves where it is worst: half of what the two give."""
        return self.worst_mm / 2


def stiffened(piece: SpanPiece) -> SpanPiece:
    """The same piece with ribs of the fewest beads under which a post gives less than `GIVES_MM`.

    Wider ends come first: they cost least. Then posts and ribs rise, a millimetre at a time. Where
    nothing will do, the stiffest that was tried.
    """
    tried = piece
    middle = 2 if not piece.is_raised or piece.rib_mm(2) >= _SLIM_MM else 4
    widest = min(piece.flat_mm, 3 * piece.rib_mm(middle))
    rise = max(1, round(1 / piece.layer_mm)) * piece.layer_mm
    heights = ("base_height_mm", "middle_height_mm", "post_height_mm")
    for steps in range(_MOST_RISES + 1):
        sizes: dict[str, Any] = {h: round(getattr(piece, h) + steps * rise, 6) for h in heights}
        for beads in range(2, int(widest / piece.bead_spacing_mm) + 1):
            if piece.rib_mm(beads) > widest:
                break
            sizes |= {"side_beads": beads, "diagonal_beads": beads, "middle_beads": middle}
            tried = replace(piece, **sizes)
            if stiffness(tried).post_mm < GIVES_MM:
                return tried
    return tried


def stiffness(
    piece: SpanPiece, *, force_n: float = FORCE_N, modulus_n_mm2: float = MODULUS_N_MM2
) -> Stiffness:
    """How much the posts give at the middle of the band of touch under a force in newtons."""
    nodes, beams = _frame(piece)
    whole = np.zeros((6 * len(nodes), 6 * len(nodes)))
    for a, b, width, height in beams:
        at = np.r_[6 * a : 6 * a + 6, 6 * b : 6 * b + 6]
        beam = _beam(nodes[a], nodes[b], width, height, modulus_n_mm2)
        whole[np.ix_(at, at)] += _raised(beam, height / 2)
    arm = np.array([0.0, 0.0, sum(piece.touch_mm) / 2])
    ways = {name: _way(nodes, ends) for name, ends in _PUSHED.items()}
    loads = np.zeros((6 * len(nodes), len(ways)))
    for column, (name, along) in enumerate(ways.items()):
        for node, sign in zip(_PUSHED[name], (-1.0, 1.0), strict=True):
            push = sign * force_n * along
            loads[6 * node : 6 * node + 6, column] = np.r_[push, np.cross(arm, push)]
    # The piece floats. Held in the middle of the cross, by whatever spring, it moves as well:
    # the loads balance, so nothing is carried there.
    whole[24:30, 24:30] += np.eye(6) * whole.max()
    moved = np.linalg.solve(whole, loads).T.reshape(len(ways), -1, 6)
    gives: dict[str, float] = {}
    for (name, along), nodes_moved in zip(ways.items(), moved, strict=True):
        a, b = _PUSHED[name]
        tips = nodes_moved[:, :3] + np.cross(nodes_moved[:, 3:], arm)
        gives[name] = float((tips[b] - tips[a]) @ along)
    return Stiffness(force_n, gives)


def _way(nodes: list[Matrix], ends: tuple[int, int]) -> Matrix:
    """Unit vector from one post to another."""
    way = nodes[ends[1]] - nodes[ends[0]]
    along: Matrix = way / np.linalg.norm(way)
    return along


def _frame(piece: SpanPiece) -> tuple[list[Matrix], list[tuple[int, int, float, float]]]:
    """Nodes on the bed's plane, mm, and beams: from, to, width, height.

    The first four nodes are the posts, the fifth the middle of the cross.
    """
    nodes = [np.array([sx, sy, 0.0]) * piece.pitch_mm / 2 for sx, sy in _CORNERS]
    nodes.append(np.zeros(3))
    beams: list[tuple[int, int, float, float]] = []
    side, cross = piece.rib_mm(piece.side_beads), piece.rib_mm(piece.diagonal_beads)
    for a, b in _SIDES:
        beams += _rib(piece, nodes, (a, b), side)
    for post in range(4):
        beams += _rib(piece, nodes, (post, 4), cross)
    return nodes, beams


def _rib(
    piece: SpanPiece, nodes: list[Matrix], ends: tuple[int, int], width: float
) -> list[tuple[int, int, float, float]]:
    """The beams of one rib, with nodes of their own where its section changes.

    The stress of a slim middle spreads slowly into a wider end: what it has not reached does not
    count there.
    """
    a, b = ends
    low, slim = piece.base_height_mm, piece.rib_mm(piece.middle_beads)
    if not piece.is_raised:
        return [(a, b, width, low)]
    way = (nodes[b] - nodes[a]) / np.linalg.norm(nodes[b] - nodes[a])
    narrow = min(SPREAD * max(0.0, width - slim) / 2, piece.low_mm / 2)
    inner, beams = {a: a, b: b}, []
    for end, sign in ((a, 1.0), (b, -1.0)):
        if end >= len(_CORNERS):
            continue
        for part, upto in ((width, piece.low_mm - narrow), (slim, piece.low_mm)):
            if upto - float(np.linalg.norm(nodes[inner[end]] - nodes[end])) < _LEAST_MM:
                continue
            nodes.append(nodes[end] + sign * upto * way)
            beams.append((inner[end], len(nodes) - 1, part, low))
            inner[end] = len(nodes) - 1
    return [*beams, (inner[a], inner[b], slim, piece.middle_height_mm)]


def _raised(beam: Matrix, by_mm: float) -> Matrix:
    """A beam whose axis lies above its two nodes, joined to them by rigid links."""
    link = np.eye(12)
    for end in (0, 6):
        link[end, end + 4], link[end + 1, end + 3] = by_mm, -by_mm
    result: Matrix = link.T @ beam @ link
    return result


def _beam(start: Matrix, end: Matrix, width: float, height: float, modulus: float) -> Matrix:
    """Stiffness of a straight beam with a section `width` x `height`, Z upwards, 12 x 12.

    Order at each end: three displacements, three rotations; Euler-Bernoulli with St Venant
    torsion (any textbook on frames; the torsion series of a rectangle from memory).
    """
    span = end - start
    length = float(np.linalg.norm(span))
    shear = modulus / (2 * (1 + POISSON))
    thin, thick = sorted((width, height))
    torsion = thick * thin**3 * (1 / 3 - 0.21 * thin / thick * (1 - (thin / thick) ** 4 / 12))
    local = np.zeros((12, 12))
    _couple(local, (0, 6), modulus * width * height / length)
    _couple(local, (3, 9), shear * torsion / length)
    bends = (
        ((1, 5, 7, 11), modulus * height * width**3 / 12, 1.0),
        ((2, 4, 8, 10), modulus * width * height**3 / 12, -1.0),
    )
    for at, rigidity, sign in bends:
        a, b = 12 * rigidity / length**3, 6 * rigidity / length**2 * sign
        c, d = 4 * rigidity / length, 2 * rigidity / length
        local[np.ix_(at, at)] += [[a, b, -a, b], [b, c, -b, d], [-a, -b, a, -b], [b, d, -b, c]]
    along = span / length
    turn = np.array([along, np.cross([0.0, 0.0, 1.0], along), [0.0, 0.0, 1.0]])
    full = np.kron(np.eye(4), turn)
    result: Matrix = full.T @ local @ full
    return result


def _couple(local: Matrix, at: tuple[int, int], spring: float) -> None:
    """Add a spring between two degrees of freedom."""
    local[np.ix_(at, at)] += spring * np.array([[1.0, -1.0], [-1.0, 1.0]])
