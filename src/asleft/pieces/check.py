"""How far a span piece gives under the caliper's jaws, by a beam model. Computed, not measured.

Ribs are beams between the post centres and the middle of the cross, posts are rigid arms up to
the jaws; nothing rests on a table. Longer beams than the clear ribs make it err to the soft
side; layers that bond badly would be softer still. Stands on `span` and numpy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from asleft.pieces.span import SpanPiece

Matrix = npt.NDArray[np.float64]

MODULUS_N_MM2 = 2400.0  # printed PLA along its beads; from memory, varies by a third
POISSON = 0.35  # from memory
FORCE_N = 5.0  # a firm thumb on a caliper; light measuring is nearer 2 N (common practice)

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


def stiffness(
    piece: SpanPiece, *, force_n: float = FORCE_N, modulus_n_mm2: float = MODULUS_N_MM2
) -> Stiffness:
    """How much the posts give at the middle of the band of touch under a force in newtons."""
    nodes = [np.array([sx, sy, 0.0]) * piece.pitch_mm / 2 for sx, sy in _CORNERS]
    nodes.append(np.zeros(3))
    whole = np.zeros((6 * len(nodes), 6 * len(nodes)))
    beams = [(a, b, piece.rib_mm(piece.side_beads)) for a, b in _SIDES]
    beams += [(n, 4, piece.rib_mm(piece.diagonal_beads)) for n in range(4)]
    for a, b, width in beams:
        at = np.r_[6 * a : 6 * a + 6, 6 * b : 6 * b + 6]
        whole[np.ix_(at, at)] += _beam(
            nodes[a], nodes[b], width, piece.base_height_mm, modulus_n_mm2
        )
    arm = np.array([0.0, 0.0, sum(piece.touch_mm) / 2 - piece.base_height_mm / 2])
    gives: dict[str, float] = {}
    for direction, (a, b) in _PUSHED.items():
        along = nodes[b] - nodes[a]
        along /= np.linalg.norm(along)
        load = np.zeros(6 * len(nodes))
        for node, sign in ((a, -1.0), (b, 1.0)):
            push = sign * force_n * along
            load[6 * node : 6 * node + 6] = np.r_[push, np.cross(arm, push)]
        # The piece floats: of all solutions, the one without rigid motion is as good as any.
        moved = np.linalg.lstsq(whole, load, rcond=1e-10)[0].reshape(-1, 6)
        tips = moved[:, :3] + np.cross(moved[:, 3:], arm)
        gives[direction] = float((tips[b] - tips[a]) @ along)
    return Stiffness(force_n, gives)


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
