"""Binary STL of a piece, for the person's own slicing program.

Lengths in mm, which the format does not say. The same piece gives the same bytes. Stands on
`mesh` and numpy.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np

from asleft.pieces.mesh import Mesh

_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_bytes(bodies: Sequence[Mesh], title: str) -> bytes:
    """All bodies as one binary STL: 80 bytes of title, a count, 50 bytes a triangle."""
    records = np.zeros(sum(len(body.faces) for body in bodies), dtype=_RECORD)
    corners = np.concatenate([body.vertices_mm[body.faces] for body in bodies])
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    records["normal"] = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
    records["corners"] = corners
    # A title that begins with "solid" would be taken for the text form of the format.
    head = title.encode("ascii", "replace")[:80].ljust(80)
    return head + struct.pack("<I", len(records)) + records.tobytes()
