"""A sheet of line drawing as SVG, one unit to the millimetre of paper.

Knows strokes, letters and dimension lines; not what is drawn. Black on white, so that it
prints anywhere. Paper coordinates: x to the right, y downwards. Stands on nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

Point = tuple[float, float]

FINE, LINE, BOLD = 0.13, 0.25, 0.45  # widths of stroke in mm of paper
SMALL, PLAIN, LARGE = 2.5, 2.8, 5.2  # heights of type in mm of paper
_WIDE = 0.58  # mean width of a letter over its height, on the wide side


def text_width(text: str, size: float) -> float:
    """Width of a text in mm of paper, on the wide side."""
    return len(text) * size * _WIDE


class Sheet:
    """Collects what is drawn; `svg()` gives the whole."""

    def __init__(self, width: float, height: float, title: str) -> None:
        self.size = (width, height)
        self.title = title
        self._parts: list[str] = []

    def line(
        self, a: Point, b: Point, width: float = LINE, *, dashed: bool = False, kind: str = ""
    ) -> None:
        """A straight stroke."""
        dash = ' stroke-dasharray="1.2 0.8"' if dashed else ""
        dash += f' class="{kind}"' if kind else ""
        self._parts.append(
            f'<line x1="{a[0]:.2f}" y1="{a[1]:.2f}" x2="{b[0]:.2f}" y2="{b[1]:.2f}" '
            f'stroke="#000" stroke-width="{width:g}"{dash}/>'
        )

    def shape(
        self, points: Iterable[Point], *, fill: str = "#fff", width: float = LINE, kind: str = ""
    ) -> None:
        """A closed outline; `kind` is its class, so that a reader can tell what it stands for."""
        path = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
        name = f' class="{kind}"' if kind else ""
        self._parts.append(
            f'<polygon{name} points="{path}" fill="{fill}" stroke="#000" '
            f'stroke-width="{width:g}" stroke-linejoin="round"/>'
        )

    def ribs(self, pairs: Sequence[tuple[Point, Point]], widths: Sequence[float]) -> None:
        """Bars that run into each other: all dark first, then all white, a little narrower."""
        for grow, colour in ((2 * FINE, "#000"), (0.0, "#fff")):
            for (a, b), width in zip(pairs, widths, strict=True):
                self._parts.append(
                    f'<line x1="{a[0]:.2f}" y1="{a[1]:.2f}" x2="{b[0]:.2f}" y2="{b[1]:.2f}" '
                    f'stroke="{colour}" stroke-width="{width + grow:.2f}"/>'
                )

    def text(
        self,
        at: Point,
        text: str,
        size: float = PLAIN,
        *,
        anchor: str = "start",
        bold: bool = False,
        turn: float = 0.0,
        fill: str = "#000",
        kind: str = "",
    ) -> None:
        """One line of type; `at` is on its baseline, `turn` in degrees clockwise."""
        more = f' transform="rotate({turn:g} {at[0]:.2f} {at[1]:.2f})"' if turn else ""
        more += ' font-weight="bold"' if bold else ""
        more += f' class="{kind}"' if kind else ""
        self._parts.append(
            f'<text x="{at[0]:.2f}" y="{at[1]:.2f}" font-size="{size:g}" fill="{fill}" '
            f'text-anchor="{anchor}"{more}>{escape(text, quote=False)}</text>'
        )

    def blank(self, corner: Point, width: float, height: float) -> None:
        """Clear a field, so that type on it stays legible."""
        self._parts.append(
            f'<rect x="{corner[0]:.2f}" y="{corner[1]:.2f}" width="{width:.2f}" '
            f'height="{height:.2f}" fill="#fff"/>'
        )

    def tag(self, at: Point, text: str, *, dark: bool, turn: float = 0.0) -> None:
        """A label on a field of its own, centred: dark with cut corners, or white and square."""
        wide, high = text_width(text, SMALL) / 2 + 1.0, SMALL / 2 + 0.6
        cut = high * 0.6 if dark else 0.0
        corners = [
            (-wide + cut, -high),
            (wide - cut, -high),
            (wide, -high + cut),
            (wide, high - cut),
            (wide - cut, high),
            (-wide + cut, high),
            (-wide, high - cut),
            (-wide, -high + cut),
        ]
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        self.shape(
            [(at[0] + x * c - y * s, at[1] + x * s + y * c) for x, y in corners],
            fill="#000" if dark else "#fff",
            kind="tag",
        )
        down = SMALL * 0.36
        self.text(
            (at[0] - down * s, at[1] + down * c),
            text,
            SMALL,
            anchor="middle",
            bold=dark,
            turn=turn,
            fill="#fff" if dark else "#000",
            kind="label",
        )

    def dimension(self, a: Point, b: Point) -> None:
        """A fine line between two points with an arrowhead at each end."""
        self.line(a, b, FINE, kind="dimension")
        length = math.dist(a, b)
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        for at, way in ((a, 1), (b, -1)):
            head = [
                at,
                (at[0] + way * 1.8 * ux - 0.4 * uy, at[1] + way * 1.8 * uy + 0.4 * ux),
                (at[0] + way * 1.8 * ux + 0.4 * uy, at[1] + way * 1.8 * uy - 0.4 * ux),
            ]
            self.shape(head, fill="#000", width=FINE)

    def svg(self) -> str:
        """The whole sheet as one SVG document."""
        width, height = self.size
        body = "\n".join(self._parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
            f'viewBox="0 0 {width:g} {height:g}" font-family="sans-serif">\n'
            f"<title>{escape(self.title, quote=False)}</title>\n"
            f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>\n{body}\n</svg>\n'
        )
