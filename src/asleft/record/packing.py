"""A PDF made smaller without losing its structure: small objects packed together and deflated.

The typesetter writes each element of the structure that screen readers use as an object of its
own, in clear; that is half of a record. Object streams are ISO 32000-1:2008, 7.5.7 and 7.5.8.
"""

from __future__ import annotations

import re
import zlib

_OBJECT = re.compile(rb"(\d+) 0 obj\r?\n")
_XREF = re.compile(rb"xref\r?\n0 (\d+)\r?\n")
_TRAILER = re.compile(rb"trailer\s*<<(.*)>>\s*startxref\s*(\d+)\s*%%EOF\s*$", re.DOTALL)
_PER_STREAM = 200
_END = b"endobj"


def packed(pdf: bytes) -> bytes:
    """The same document, its objects without data packed; as it was where it has another form.

    Args:
        pdf: a file with one cross-reference table and every object of generation 0.
    """
    trailer = _TRAILER.search(pdf)
    objects = _objects(pdf, int(trailer[2])) if trailer else {}
    if trailer is None or not objects:
        return pdf
    out = bytearray(pdf[: min(place for place, _ in objects.values())])
    rows: dict[int, tuple[int, int, int]] = {0: (0, 0, 65535)}
    small: list[tuple[int, bytes]] = []
    for number, (_, body) in sorted(objects.items()):
        if body.endswith(b"endstream"):
            rows[number] = (1, len(out), 0)
            out += b"%d 0 obj\n%b\nendobj\n" % (number, body)
        else:
            small.append((number, body))
    following = max(objects) + 1
    for start in range(0, len(small), _PER_STREAM):
        share = small[start : start + _PER_STREAM]
        rows[following] = (1, len(out), 0)
        rows |= {number: (2, following, place) for place, (number, _) in enumerate(share)}
        out += _stream(following, _share(share))
        following += 1
    return bytes(out + _references(rows, following, len(out), trailer[1]))


def _objects(pdf: bytes, table: int) -> dict[int, tuple[int, bytes]]:
    """Place and body of every object, as the cross-reference table has them; {} where not."""
    head = _XREF.match(pdf, table)
    if head is None:
        return {}
    entries = [pdf[head.end() + 20 * n :][:20] for n in range(int(head[1]))]
    places = sorted(int(each[:10]) for each in entries if each[17:18] == b"n")
    found: dict[int, tuple[int, bytes]] = {}
    for place, end in zip(places, [*places[1:], table], strict=True):
        start = _OBJECT.match(pdf, place)
        close = pdf.rfind(_END, place, end)
        if start is None or close < 0:
            return {}
        found[int(start[1])] = (place, pdf[start.end() : close].rstrip())
    return found


def _share(share: list[tuple[int, bytes]]) -> tuple[bytes, bytes]:
    """Dictionary entries and data of one object stream."""
    index, bodies = [], bytearray()
    for number, body in share:
        index.append(b"%d %d" % (number, len(bodies)))
        bodies += body + b"\n"
    head = b" ".join(index) + b"\n"
    return b"/Type/ObjStm/N %d/First %d" % (len(share), len(head)), head + bytes(bodies)


def _stream(number: int, told: tuple[bytes, bytes]) -> bytes:
    entries, data = told
    small = zlib.compress(data, 9)
    return b"%d 0 obj\n<<%b/Filter/FlateDecode/Length %d>>\nstream\n%b\nendstream\nendobj\n" % (
        number,
        entries,
        len(small),
        small,
    )


def _references(
    rows: dict[int, tuple[int, int, int]], number: int, place: int, trailer: bytes
) -> bytes:
    """The cross-reference stream, and where it stands."""
    rows[number] = (1, place, 0)
    free = (0, 0, 65535)
    data = b"".join(
        kind.to_bytes(1, "big") + where.to_bytes(4, "big") + more.to_bytes(2, "big")
        for kind, where, more in (rows.get(n, free) for n in range(number + 1))
    )
    kept = re.sub(rb"/Size\s+\d+", b"", trailer).strip()
    entries = b"/Type/XRef/W[1 4 2]/Size %d %b" % (number + 1, kept)
    return _stream(number, (entries, data)) + b"startxref\n%d\n%%%%EOF\n" % place
