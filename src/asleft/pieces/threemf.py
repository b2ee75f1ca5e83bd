"""3MF of a piece: bodies in millimetres, for the person's own slicing program.

The core of the 3D Manufacturing Format (3MF Core Specification 1.x): a package of three parts.
The same piece gives the same bytes: no date, fixed order. Stands on `mesh`.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from html import escape

from asleft.pieces.mesh import Mesh

_HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_TYPES = (
    _HEAD + '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
_RELATIONS = (
    _HEAD + '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Target="/3D/3dmodel.model" Id="model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>\n'
)


def threemf_bytes(bodies: Sequence[Mesh], title: str) -> bytes:
    """All bodies as one 3MF package, each an object of its own at its place on the bed."""
    parts = {
        "[Content_Types].xml": _TYPES,
        "_rels/.rels": _RELATIONS,
        "3D/3dmodel.model": _model(bodies, title),
    }
    package = io.BytesIO()
    with zipfile.ZipFile(package, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name)  # dated 1980, the format's beginning of time
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 0  # the same on every system
            archive.writestr(entry, text.encode())
    return package.getvalue()


def _model(bodies: Sequence[Mesh], title: str) -> str:
    lines = [
        f'{_HEAD}<model unit="millimeter" xml:lang="en" xmlns="{_CORE}">',
        f'<metadata name="Title">{_text(title)}</metadata>',
        "<resources>",
    ]
    for number, body in enumerate(bodies, start=1):
        lines.append(f'<object id="{number}" type="model" name="{escape(body.name)}"><mesh>')
        lines.append("<vertices>")
        lines += [
            f'<vertex x="{x:.4f}" y="{y:.4f}" z="{z:.4f}"/>'
            for x, y, z in body.vertices_mm.tolist()
        ]
        lines.append("</vertices><triangles>")
        lines += [f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in body.faces.tolist()]
        lines.append("</triangles></mesh></object>")
    lines.append("</resources><build>")
    lines += [f'<item objectid="{number}"/>' for number in range(1, len(bodies) + 1)]
    lines.append("</build></model>\n")
    return "\n".join(lines)


def _text(value: str) -> str:
    return value.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
