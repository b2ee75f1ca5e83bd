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
_HALVES = ((0, 4), (1, 4), (2, 4), (3, 4))  # of the diagonals, to the middle of the cross
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
    nodes = [np.array([sx, sy, 0.0]) * piece.pitch_mm / 2 for sx, sy in (*_CORNERS, (0, 0))]
    whole = np.zeros((6 * len(nodes), 6 * len(nodes)))
    for a, b in (*_SIDES, *_HALVES):
        beads = piece.side_beads if b < len(_CORNERS) else piece.diagonal_beads
        at = np.r_[6 * a : 6 * a + 6, 6 * b : 6 * b + 6]
        rib = _rib(piece, nodes[a], nodes[b], piece.rib_mm(beads), to_post=b < len(_CORNERS))
        whole[np.ix_(at, at)] += rib * modulus_n_mm2
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


def _rib(piece: SpanPiece, start: Matrix, end: Matrix, width: float, *, to_post: bool) -> Matrix:
    """Stiffness of one rib between its two ends, 12 x 12, for a modulus of 1 N/mm².

    Where its section changes it has nodes of its own, which carry no load: they are taken out here,
    so that the whole stays small.
    """
    places, sections = _sections(piece, start, end, width, to_post=to_post)
    chain = np.zeros((6 * len(places), 6 * len(places)))
    for n, (wide, high) in enumerate(sections):
        beam = _beam(places[n], places[n + 1], wide, high, 1.0)
        chain[6 * n : 6 * n + 12, 6 * n : 6 * n + 12] += _raised(beam, high / 2)
    outer = np.r_[0:6, len(chain) - 6 : len(chain)]
    inner = np.arange(6, len(chain) - 6)
    across = chain[np.ix_(inner, outer)]
    rib: Matrix = chain[np.ix_(outer, outer)] - across.T @ np.linalg.solve(
        chain[np.ix_(inner, inner)], across
    )
    return rib


def _sections(
    piece: SpanPiece, start: Matrix, end: Matrix, width: float, *, to_post: bool
) -> tuple[list[Matrix], list[tuple[float, float]]]:
    """Places along a rib and, between each and the next, its width and height, mm.

    Low and wide near a post. The stress of a slim middle spreads slowly into a wider end: what it
    has not reached does not count there.
    """
    low, slim = piece.base_height_mm, piece.rib_mm(piece.middle_beads)
    if not piece.is_raised:
        return [start, end], [(width, low)]
    length = float(np.linalg.norm(end - start))
    narrow = min(SPREAD * max(0.0, width - slim) / 2, piece.low_mm / 2)
    near = [(0.0, width), (piece.low_mm - narrow, slim), (piece.low_mm, slim)]
    near = [part for n, part in enumerate(near) if n != 1 or narrow > _LEAST_MM]
    at = [along for along, _ in near]
    parts = [(wide, low) for _, wide in near[:-1]]
    parts.append((slim, piece.middle_height_mm))
    if to_post:
        at += [length - along for along in at[::-1]]
        parts += parts[-2::-1]
    else:
        at.append(length)
    return [start + along / length * (end - start) for along in at], parts


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
