"""One rib of the span piece in solid elements against the sum of its beams: is the frame right?

Run it with `python -m benchmarks.rib_in_bricks`; half a minute. It shares no code with the
piece's own check. The frame lets a rib change its section at once and treats posts as rigid; here
the stress has to find its way from the low, wide end into the slim, high middle and up the post.
A quarter of rib and posts is modelled (both have planes of symmetry), posts solid and square.
"""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt

from asleft.pieces import SpanPiece
from asleft.pieces.check import MODULUS_N_MM2, POISSON

Array = npt.NDArray[np.float64]
FORCE_N = 5.0


def brick(size: Array) -> Array:
    """Stiffness of a box of eight nodes, 24 x 24, by two Gauss points each way.

    Order of nodes: x slowest, z fastest. Any textbook on finite elements.
    """
    corners = np.array(list(itertools.product((-1, 1), repeat=3)), dtype=float)
    lame = MODULUS_N_MM2 * POISSON / (1 + POISSON) / (1 - 2 * POISSON)
    shear = MODULUS_N_MM2 / 2 / (1 + POISSON)
    law = np.zeros((6, 6))
    law[:3, :3] = lame
    law += np.diag([2 * shear] * 3 + [shear] * 3)
    whole = np.zeros((24, 24))
    for point in corners / np.sqrt(3):
        plus = 1 + corners * point
        slopes = (
            np.stack([corners[:, k] * np.delete(plus, k, 1).prod(axis=1) / 8 for k in range(3)])
            * (2 / size)[:, None]
        )
        strain = np.zeros((6, 24))
        for k in range(3):
            strain[k, k::3] = slopes[k]
        for row, (a, b) in enumerate(((0, 1), (1, 2), (2, 0)), start=3):
            strain[row, a::3], strain[row, b::3] = slopes[b], slopes[a]
        whole += strain.T @ law @ strain * size.prod() / 8
    return whole


def lines(stops: list[float], step: float) -> Array:
    """Places of nodes that meet every stop, no further apart than the step."""
    parts = [
        np.linspace(a, b, max(1, int(np.ceil((b - a) / step - 1e-9))) + 1)[:-1]
        for a, b in itertools.pairwise(stops)
    ]
    return np.append(np.concatenate(parts), stops[-1])


def give_in_bricks_mm(piece: SpanPiece, step: float) -> float:
    """By how much two posts on one side rib part under the jaws."""
    from scipy import sparse
    from scipy.sparse.linalg import spsolve

    wide, slim = piece.rib_mm(piece.side_beads) / 2, piece.rib_mm(piece.middle_beads) / 2
    half, low, mid, top = (
        piece.post_mm / 2,
        piece.base_height_mm,
        piece.middle_height_mm,
        piece.post_height_mm,
    )
    jaws = sum(piece.touch_mm) / 2
    xs = lines([-half, half, piece.low_mm, piece.pitch_mm / 2], 2 * step)
    ys = np.append(lines(sorted({0.0, slim, wide}), step / 2), np.linspace(wide, half, 4)[1:])
    zs = lines(sorted({0.0, low, jaws, mid, top}), step)
    count = (xs.size, ys.size, zs.size)

    def filled(x: float, y: float, z: float) -> bool:
        if x < half:
            return True
        return (y < wide and z < low) if x < piece.low_mm else (y < slim and z < mid)

    rows, cols, values = [], [], []
    for i, j, k in itertools.product(*(range(n - 1) for n in count)):
        ends = [(axis[n], axis[n + 1]) for axis, n in ((xs, i), (ys, j), (zs, k))]
        if not filled(*((a + b) / 2 for a, b in ends)):
            continue
        near = itertools.product((i, i + 1), (j, j + 1), (k, k + 1))
        at = [3 * int(np.ravel_multi_index(n, count)) + d for n in near for d in range(3)]
        rows.append(np.repeat(at, 24))
        cols.append(np.tile(at, 24))
        values.append(brick(np.array([b - a for a, b in ends])).ravel())
    size = 3 * int(np.prod(count))
    index = (np.concatenate(rows), np.concatenate(cols))
    matrix = sparse.csr_matrix((np.concatenate(values), index), shape=(size, size))
    number = np.arange(size // 3).reshape(count)
    held = [3 * number[-1].ravel(), 3 * number[:, 0].ravel() + 1, [3 * number[-1, 0, 0] + 2]]
    free = np.setdiff1d(np.flatnonzero(matrix.diagonal()), np.concatenate(held))
    # The jaw lies along the face's middle line, its force shared out by length.
    line = number[0, :, int(np.argmin(abs(zs - jaws)))]
    shares = np.gradient(ys)
    shares[[0, -1]] /= 2
    load = np.zeros(size)
    load[3 * line] = -FORCE_N / 2 * shares / shares.sum()
    moved = spsolve(matrix[free][:, free], load[free])
    # Twice: the other half of the width has the other half of the force, work is F times give.
    return float(2 * 2 * load[free] @ moved / FORCE_N)


def give_of_beams_mm(piece: SpanPiece) -> float:
    """The same by the unit-load theorem over parts of one section, to the posts' centres."""
    lever = sum(piece.touch_mm) / 2
    parts = [
        (2 * piece.low_mm, piece.rib_mm(piece.side_beads), piece.base_height_mm),
        (
            piece.pitch_mm - 2 * piece.low_mm,
            piece.rib_mm(piece.middle_beads),
            piece.middle_height_mm,
        ),
    ]
    return sum(
        FORCE_N
        * length
        / MODULUS_N_MM2
        * ((lever - high / 2) ** 2 / (wide * high**3 / 12) + 1 / (wide * high))
        for length, wide, high in parts
    )


def main() -> None:
    """Print both, coarse and fine."""
    for piece in (SpanPiece(), SpanPiece(side_beads=6), SpanPiece(pitch_mm=60.0)):
        beams = give_of_beams_mm(piece)
        for step in (1.0, 0.5):
            bricks = give_in_bricks_mm(piece, step)
            print(
                f"{piece.pitch_mm:g} mm apart, {piece.side_beads} beads: bricks of {step:g} mm"
                f" {bricks:.4f} mm, beams {beams:.4f} mm, {bricks / beams - 1:+.0%}"
            )


if __name__ == "__main__":
    main()
