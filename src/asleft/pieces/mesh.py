"""A closed triangle mesh in mm, and how to make one that stays closed in a file.

Booleans leave edges of 10⁻⁸ mm that collapse in single precision and open the file; here all
corners are drawn onto a grid of 10⁻⁴ mm first. Not a solid modeller. Stands on numpy.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from asleft.errors import BugError

GRID_MM = 1e-4
_CLOSE_BY = 5  # steps of the grid: corners so near to each other may be one
_ROUNDS = 16  # two are mostly enough; what is left after all stays in: ugly, and still closed


@dataclass(frozen=True)
class Mesh:
    """One body: `vertices_mm` (n, 3) and `faces` (m, 3), counter-clockwise seen from outside."""

    name: str
    vertices_mm: npt.NDArray[np.float64]
    faces: npt.NDArray[np.int64]

    @property
    def bounds_mm(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Lowest and highest corner."""
        low, high = self.vertices_mm.min(axis=0), self.vertices_mm.max(axis=0)
        return tuple(low.tolist()), tuple(high.tolist())

    @property
    def volume_mm3(self) -> float:
        """Enclosed volume, positive when the faces look outwards (divergence theorem)."""
        a, b, c = (self.vertices_mm[self.faces[:, k]] for k in range(3))
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)


def welded(name: str, vertices: npt.ArrayLike, faces: npt.ArrayLike) -> Mesh:
    """A mesh with corners on the grid: equal corners made one, collapsed faces dropped.

    Merging corners of a closed mesh keeps it closed; a face that falls onto its own reverse
    takes that one with it, one that falls onto a line is divided among its neighbours. The
    order depends on the shape alone, so the same piece gives the same bytes.

    Raises:
        BugError: the result is not closed.
    """
    steps = np.rint(np.asarray(vertices, dtype=float) / GRID_MM).astype(np.int64)
    corners, where = _different(steps)
    joined = where[np.asarray(faces, dtype=np.int64)]
    a, b, c = joined.T
    joined = joined[(a != b) & (b != c) & (c != a)]
    joined = _without_slivers(_without_reverses(joined), corners)
    _demand_closed(name, joined)
    used, numbers = np.unique(joined, return_inverse=True)
    placed = (corners[used] * GRID_MM).astype(np.float64)
    return Mesh(name, placed, numbers.reshape(joined.shape))


def _different(rows: npt.NDArray[np.int64]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.intp]]:
    """Rows that differ, in order, and for each row which of them it is."""
    order = np.lexsort(rows.T[::-1])
    ordered = rows[order]
    new = np.concatenate([[True], (np.diff(ordered, axis=0) != 0).any(axis=1)])
    which = np.empty(len(rows), dtype=np.intp)
    which[order] = np.cumsum(new) - 1
    return ordered[new], which


def _without_reverses(faces: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Faces in a fixed order, each starting at its lowest corner, opposite pairs cancelled."""
    turned = (faces.argmin(axis=1)[:, None] + np.arange(3)) % 3
    begun = np.take_along_axis(faces, turned, axis=1)
    begun = begun[np.lexsort(begun.T[::-1])]
    _, which = _different(np.sort(begun, axis=1))
    shared = np.bincount(which)[which] > 1
    if not shared.any():
        return begun
    count: dict[tuple[int, ...], int] = {}
    for a, b, c in begun[shared].tolist():
        reverse = (a, c, b)
        if count.get(reverse, 0):
            count[reverse] -= 1
        else:
            count[a, b, c] = count.get((a, b, c), 0) + 1
    kept = [face for face, times in count.items() for _ in range(times)]
    return np.concatenate([begun[~shared], np.array(kept, dtype=np.int64).reshape(-1, 3)])


def _without_slivers(
    faces: npt.NDArray[np.int64], corners: npt.NDArray[np.int64]
) -> npt.NDArray[np.int64]:
    """Faces less high than one step of the grid, given to the neighbour across their long edge.

    The middle corner m of such a face lies on its long edge p to q; the neighbour q, p, d is
    divided there into q, m, d and m, p, d. Both faces go, two come: the mesh stays closed. What
    comes may be such a face again, so all are looked at anew until none is.
    """
    for _ in range(_ROUNDS):
        flat = _slivers(faces, corners)
        if not flat:
            break
        merged = _merged(faces, corners, flat)
        if len(merged) < len(faces):
            faces = merged
            continue
        near = np.isin(faces, flat).any(axis=1)
        owner = {(f[k], f[(k + 1) % 3]): tuple(f) for f in faces[near].tolist() for k in range(3)}
        if not sum(_given_away(owner, *face) for face in flat):
            break
        mended = np.array(sorted(set(owner.values())), dtype=np.int64)
        faces = np.concatenate([faces[~near], mended])
    return faces


def _merged(
    faces: npt.NDArray[np.int64],
    corners: npt.NDArray[np.int64],
    flat: list[tuple[int, int, int]],
) -> npt.NDArray[np.int64]:
    """Faces without the slivers whose middle corner may be made one with an end close by.

    Divided, such a sliver may only hand itself on to the next face in its line.
    """
    for p, q, m in flat:
        off = {n: float(np.linalg.norm(1.0 * (corners[n] - corners[m]))) for n in (p, q)}
        end = min(off, key=lambda n: off[n])
        if off[end] > _CLOSE_BY:
            continue
        joined = np.where(faces == m, end, faces)
        a, b, c = joined.T
        joined = joined[(a != b) & (b != c) & (c != a)]
        if _is_closed(joined):
            faces = joined
    return faces


def _given_away(owner: dict[tuple[int, int], tuple[int, ...]], p: int, q: int, m: int) -> bool:
    """Divide the neighbour of a sliver p, q, m; False where it cannot be, or is gone already.

    `owner` names the face of every directed edge, and is kept so.
    """
    sliver, across = owner.get((p, q), ()), owner.get((q, p), ())
    if m not in sliver or not across:
        return False
    d = next(corner for corner in across if corner not in (p, q))
    if d == m or (m, d) in owner or (d, m) in owner:
        return False
    del owner[p, q], owner[q, p]
    for face in ((q, m, d), (m, p, d)):
        owner.update({(face[k], face[(k + 1) % 3]): face for k in range(3)})
    return True


def _slivers(
    faces: npt.NDArray[np.int64], corners: npt.NDArray[np.int64]
) -> list[tuple[int, int, int]]:
    """Faces of almost no height as (p, q, m), p to q the long edge."""
    places = corners[faces].astype(float)
    edges = np.roll(places, -1, axis=1) - places
    lengths = np.linalg.norm(edges, axis=2)
    double_area = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    found = []
    for n in np.flatnonzero(double_area < lengths.max(axis=1)):
        p, q, m = np.roll(faces[n], -int(np.argmax(lengths[n]))).tolist()
        found.append((p, q, m))
    return found


def _demand_closed(name: str, faces: npt.NDArray[np.int64]) -> None:
    if not _is_closed(faces):
        raise BugError(f"the solid of {name} is not closed", hint="Report these parameters.")


def _is_closed(faces: npt.NDArray[np.int64]) -> bool:
    """Every directed edge runs once, and once the other way."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    many = int(faces.max(initial=0)) + 1
    forward, times = np.unique(edges @ [many, 1], return_counts=True)
    backward = np.unique(edges @ [1, many])
    return bool(len(faces) and np.array_equal(forward, backward) and (times == 1).all())
