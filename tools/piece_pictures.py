"""Takes pictures of the gauge pieces: the drawings as a black and white printer prints them, and
layers of the tool paths as their beads lie.

`python tools/piece_pictures.py FOLDER` writes PNG files; look at them. Judges nothing; needs
playwright with Chromium, and poppler's `pdftoppm`.
"""

from __future__ import annotations

import argparse
import math
import re
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asleft.pieces import BeadPiece, FitPiece, PathSettings, SpanPiece, write_piece

PIECES: dict[str, SpanPiece | BeadPiece | FitPiece] = {
    "span": SpanPiece(mark="BENCH 3"),
    "bead": BeadPiece(),
    "fit": FitPiece(),
}
SETTINGS = PathSettings(nozzle_c=205, bed_c=60)
MIDDLES_MM = {"span": (5.0, 11.0), "bead": (12.0,), "fit": (1.4, 3.0)}  # of the layers looked at
DOTS_PER_INCH = 110
WIDE_PX = 1500
_WORD = re.compile(r"([A-Z])(-?[\d.]+)")
Point = tuple[float, float]


@dataclass(frozen=True)
class Bead:
    """One straight bead, or, with no width, a travel."""

    start: Point
    end: Point
    width_mm: float


def layers(text: str, layer_mm: float, filament_mm: float) -> dict[float, list[Bead]]:
    """The beads and travels of a file of codes by height."""
    at = {"X": 0.0, "Y": 0.0, "Z": 0.0, "E": 0.0}
    found: dict[float, list[Bead]] = {}
    for line in text.splitlines():
        words = dict(_WORD.findall(line.split(";")[0]))
        if words.get("G") == "92":
            at["E"] = float(words["E"])
        if words.get("G") not in ("0", "1"):
            continue
        before = dict(at)
        at |= {name: float(value) for name, value in words.items() if name in at}
        start, end = (before["X"], before["Y"]), (at["X"], at["Y"])
        way = math.dist(start, end)
        if way:
            section = max(0.0, at["E"] - before["E"]) * math.pi / 4 * filament_mm**2 / way
            wide = section / layer_mm + layer_mm * (1 - math.pi / 4) if section else 0.0
            found.setdefault(round(at["Z"], 4), []).append(Bead(start, end, wide))
    return found


def picture(beads: list[Bead]) -> str:
    """One layer from above as SVG: beads as they lie, their middles, and travel dashed."""
    laid = [bead for bead in beads if bead.width_mm]
    xs, ys = zip(*(p for bead in laid for p in (bead.start, bead.end)), strict=True)
    left, top = min(xs) - 2, max(ys) + 2
    wide, deep = max(xs) + 2 - left, top - min(ys) + 2
    parts = []
    for colour, share in (("#000", 1.0), ("#bbb", 0.86), ("#c00", 0.06)):
        look = f'stroke="{colour}" stroke-width="{{:.3f}}"'
        parts += [_line(b, (left, top), look.format(share * b.width_mm)) for b in laid]
    look = 'stroke="#06c" stroke-width="0.08" stroke-dasharray="0.5 0.4"'
    parts += [_line(b, (left, top), look) for b in beads if not b.width_mm]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDE_PX}" '
        f'height="{WIDE_PX * deep / wide:.0f}" viewBox="0 0 {wide:.2f} {deep:.2f}" '
        f'stroke-linecap="round" stroke-linejoin="round">{"".join(parts)}</svg>'
    )


def _line(bead: Bead, corner: Point, look: str) -> str:
    (x0, y0), (x1, y1) = bead.start, bead.end
    left, top = corner
    return (
        f'<line x1="{x0 - left:.3f}" y1="{top - y0:.3f}" x2="{x1 - left:.3f}" '
        f'y2="{top - y1:.3f}" {look}/>'
    )


def printed(page: Any, drawing: Path, out: Path) -> None:
    """An A4 page of a drawing in shades of grey."""
    page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{drawing.read_text()}")
    with tempfile.TemporaryDirectory() as folder:
        sheet = Path(folder) / "sheet.pdf"
        page.pdf(path=sheet, format="A4", print_background=True)
        command = ["pdftoppm", "-gray", "-png", "-singlefile", "-r", str(DOTS_PER_INCH)]
        subprocess.run([*command, str(sheet), str(out.with_suffix(""))], check=True)


def shown(page: Any, svg: str, out: Path) -> None:
    """A picture of a layer."""
    page.set_content(f"<style>body{{margin:0}}svg{{display:block}}</style>{svg}")
    page.locator("svg").screenshot(path=out)


def main() -> None:
    """Write the pieces, print their drawings and show their layers."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    out = parser.parse_args().folder
    out.mkdir(parents=True, exist_ok=True)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as running, tempfile.TemporaryDirectory() as folder:
        browser = running.chromium.launch(executable_path="/usr/bin/chromium")
        page = browser.new_page(viewport={"width": WIDE_PX, "height": WIDE_PX})
        for name, piece in PIECES.items():
            files = write_piece(piece, Path(folder), path=SETTINGS)["files"]
            printed(page, Path(files["drawing"]), out / f"{name}-drawing.png")
            text = Path(files["path"]).read_text()
            found = layers(text, piece.layer_mm, SETTINGS.filament_mm)
            for height in (piece.layer_mm, *MIDDLES_MM[name]):
                nearest = min(found, key=lambda z: abs(z - height))
                beads = found[nearest]
                if nearest == min(found):
                    beads = [b for b in beads if min(b.start[1], b.end[1]) > 4]  # the line in front
                shown(page, picture(beads), out / f"{name}-layer-{nearest:g}-mm.png")
        browser.close()


if __name__ == "__main__":
    main()
