"""The tool path as plain codes, line by line, and what it cost so far.

Knows where the machine stands and how much filament it has been given; not what is drawn, and
not how long it takes. Stands on `legs` and `settings`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from asleft.errors import BugError, InputError
from asleft.pieces.path.legs import Leg
from asleft.pieces.path.route import Point
from asleft.pieces.path.settings import PathSettings

DIGITS = 3  # of places, in mm
E_DIGITS = 6  # of the filament, in mm: short runs of fine beads take little of a fat one
_FAN_LAYER = 2  # the first layers stick better without wind; common practice, no source
_LIFT_MM = 10.0


class Run:
    """Legs with the words of their places, made once for all layers that are equal.

    Args:
        legs: as planned. start: where they begin.
        shift: from the piece's frame into the machine's.
        settings: the bed that they must stay on.

    Raises:
        BugError: a leg leaves the bed.
    """

    def __init__(
        self, legs: Sequence[Leg], start: Point, shift: Point, settings: PathSettings
    ) -> None:
        points = np.vstack([np.array(start), *(leg.points_mm for leg in legs)])
        # Fed for the way that the rounded places really make, or short runs come out fat.
        points = np.round(points + np.array(shift), DIGITS)
        fed = np.hypot(*np.diff(points, axis=0).T) / settings.filament_mm2
        moved = points[1:]
        if not settings.on_bed(moved):
            raise BugError("the tool path leaves the bed", hint="Report these parameters.")
        words = [f"X{x:.{DIGITS}f} Y{y:.{DIGITS}f}" for x, y in moved.tolist()]
        self.parts: list[tuple[Leg, list[str], npt.NDArray[np.float64]]] = []
        n = 0
        for leg in legs:
            to = n + len(leg.points_mm)
            self.parts.append((leg, words[n:to], fed[n:to] * leg.section_mm2))
            n = to


class Codes:
    """Collects lines; `text()` gives the whole file. Coordinates are the machine's."""

    def __init__(self, settings: PathSettings) -> None:
        self.settings = settings
        self.lines: list[str] = []
        self.filament_mm = 0.0  # what was laid, drawing back not counted
        self._zero_mm = 0.0  # of the feed, where the controller was last told 0
        self._rate = -1.0
        self._z = 0.0
        self._drawn = False

    def note(self, text: str) -> None:
        """A comment."""
        self.lines.append(f"; {text}")

    def begin(self) -> None:
        """Units and modes, home, then hot: bed first, so that the nozzle waits least."""
        s = self.settings
        self.lines += ["G21", "G90", "M83" if s.relative_feed else "M82", "M107", "G28"]
        if s.bed_c:
            self.lines += [f"M140 S{s.bed_c:g}"]
        self.lines += [f"M190 S{s.bed_c:g}"] if s.bed_c else []
        self.lines += [f"M104 S{s.nozzle_c:g}", f"M109 S{s.nozzle_c:g}", "G92 E0"]

    def end(self) -> None:
        """Heaters off before anything else; then away from the piece, fan and motors off."""
        s = self.settings
        self._draw_back()
        self.lines += ["M104 S0", "M140 S0"]
        self.raise_to(min(self._z + _LIFT_MM, s.travel_mm[2]))
        self.lines += ["M107", "M84"]

    def raise_to(self, z_mm: float) -> None:
        """To a height, straight up."""
        if not 0 <= z_mm <= self.settings.travel_mm[2]:
            raise InputError(
                f"Z {z_mm:g} mm is above the travel",
                hint=f"The travel is {self.settings.travel_mm[2]:g} mm.",
                where="Z",
            )
        self._z = z_mm
        self.lines.append(f"G0 Z{z_mm:.3f}{self._f(self.settings.travel_mm_min / 10)}")

    def layer(self, number: int, z_mm: float) -> None:
        """Begin a layer: note, height, feed from 0 again, wind where it is due."""
        self.note(f"layer {number + 1}")
        self.raise_to(z_mm)
        if number == _FAN_LAYER and self.settings.fan_percent:
            self.lines.append(f"M106 S{round(2.55 * self.settings.fan_percent)}")
        if not self.settings.relative_feed:
            back = self.settings.retract_mm if self._drawn else 0.0
            self.lines.append(f"G92 E{-back:g}" if back else "G92 E0")
            self._zero_mm = round(self.filament_mm, E_DIGITS)

    def put(self, run: Run) -> None:
        """All codes of a run of legs that begins where the machine stands."""
        for leg, places, fed_mm in run.parts:
            rate = leg.speed_mm_s * 60
            if leg.section_mm2:
                self._lay(places, fed_mm, rate)
                continue
            if leg.drawn_back:
                self._draw_back()
            word = self._f(rate)
            self.lines.append(f"G0 {places[0]}{word}")
            self.lines += [f"G0 {place}" for place in places[1:]]

    def text(self) -> str:
        """The whole file."""
        return "\n".join(self.lines) + "\n"

    def _lay(self, places: list[str], fed_mm: npt.NDArray[np.float64], mm_min: float) -> None:
        self._push()
        # Rounding never adds up: each line says what is missing to the rounded total.
        totals = self.filament_mm + np.cumsum(fed_mm)
        if self.settings.relative_feed:
            before = np.concatenate([[self.filament_mm], totals[:-1]])
            said = totals - np.round(before, E_DIGITS)
        else:
            said = totals - self._zero_mm
        at = len(self.lines)
        feeds = zip(places, said.tolist(), strict=True)
        self.lines += [f"G1 {place} E{fed:.{E_DIGITS}f}" for place, fed in feeds]
        self.lines[at] += self._f(mm_min)
        self.filament_mm = float(totals[-1])

    def _draw_back(self) -> None:
        if self.settings.retract_mm and not self._drawn:
            self._drawn = True
            self._feed_alone(-self.settings.retract_mm, at_mm=-self.settings.retract_mm)

    def _push(self) -> None:
        if self._drawn:
            self._drawn = False
            self._feed_alone(self.settings.retract_mm, at_mm=0.0)

    def _feed_alone(self, by_mm: float, *, at_mm: float) -> None:
        """Move the filament while the axes stand: by so much, to this side of what was laid."""
        said = by_mm
        if not self.settings.relative_feed:
            said = round(self.filament_mm, E_DIGITS) - self._zero_mm + at_mm
        self.lines.append(f"G1 E{said:.{E_DIGITS}f}{self._f(self.settings.retract_mm_min)}")

    def _f(self, mm_min: float) -> str:
        """The rate's word where it changes."""
        whole = float(int(mm_min))
        if whole == self._rate:
            return ""
        self._rate = whole
        return f" F{whole:.0f}"
