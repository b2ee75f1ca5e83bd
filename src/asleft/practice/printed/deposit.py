"""From executed moves to the beads that really lie on the bed.

Where the nozzle truly was (steps, skew, drive, slack, pulleys), how much filament truly came
(steps, slip), and so how wide each bead is. Not for faces: that is `shape_span` and its like.
Stands on the hidden truth and the track.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from asleft.practice.body.piece import BELT_TURN_MM, SCREW_TURN_MM, MotionErrors
from asleft.practice.body.track import Array, Moves
from asleft.practice.body.truth import Truth

SCATTER_MM = 0.01
"""Random walk of the fed length, mm for each square root of a mm, as in `filament`."""
MELT_MM = 1.0
"""The melt evens out what the gear does within so much filament (ours)."""


@dataclass(frozen=True)
class Beads:
    """Beads in the order in which they were laid, as arrays of n.

    `from_mm`, `to_mm` (n, 3) as the controller believes; `start_mm`, `end_mm` (n, 3) where they
    truly lie once the plastic has shrunk; `width_mm` over the bulges; `level` the number of the
    layer, counted from the bed over the whole print.
    """

    from_mm: Array
    to_mm: Array
    start_mm: Array
    end_mm: Array
    width_mm: Array
    volume_mm3: Array
    level: npt.NDArray[np.intp]

    def only(self, which: npt.NDArray[np.bool_] | npt.NDArray[np.intp]) -> Beads:
        """Some of them: a mask, or their numbers."""
        return Beads(
            self.from_mm[which],
            self.to_mm[which],
            self.start_mm[which],
            self.end_mm[which],
            self.width_mm[which],
            self.volume_mm3[which],
            self.level[which],
        )


def beads_of(
    moves: Moves, motion: MotionErrors, truth: Truth, *, filament_mm: float, seed: int
) -> Beads:
    """What the moves laid.

    Args:
        moves: as executed. motion: the machine's errors meanwhile.
        truth: the hidden numbers. filament_mm: its diameter.
        seed: of the piece, for how the filament scatters.
    """
    laid_mm = _laid_mm(moves, truth, np.random.default_rng([seed, 2]))
    ends = np.concatenate([moves.start_mm[:1], moves.end_mm])
    true = _true_mm(ends, motion, truth)
    way = np.linalg.norm(np.diff(true, axis=0), axis=1)
    rows = (laid_mm > 0) & (way > 1e-4)
    z_mm = moves.end_mm[rows, 2].round(4)
    levels, level = np.unique(z_mm, return_inverse=True)
    height = np.diff(levels, prepend=0.0)[level] * (1 + motion.scale["Z"])
    volume = laid_mm[rows] * math.pi / 4 * filament_mm**2
    shrunk = true * np.array([1 + truth.shrinkage[a] for a in "XYZ"])
    return Beads(
        moves.start_mm[rows],
        moves.end_mm[rows],
        shrunk[:-1][rows],
        shrunk[1:][rows],
        _width_mm(volume / way[rows], np.maximum(height, 1e-3)),
        volume,
        level,
    )


def _laid_mm(moves: Moves, truth: Truth, rng: np.random.Generator) -> Array:
    """Filament that left the nozzle in each move: what was drawn back is pushed forward first."""
    pushed = np.cumsum(moves.motor_mm)
    furthest = np.maximum.accumulate(np.concatenate([[0.0], pushed]))
    fresh = np.diff(furthest)
    rate = fresh / np.maximum(moves.seconds, 1e-9) * 60
    over = np.maximum(0.0, rate / truth.slip_onset_mm_min - 1)
    grip = 1 / (1 + truth.slip_steepness * over)
    scatter = _wandering(np.concatenate([[0.0], np.cumsum(fresh)]), rng)
    laid: Array = np.where(moves.melts, np.maximum(0.0, fresh * grip + scatter), 0.0)
    return laid


def _wandering(fed_mm: Array, rng: np.random.Generator) -> Array:
    """By how much the gear feeds too much between lengths (n + 1), a random walk evened out."""
    knots = int(fed_mm[-1] / MELT_MM) + 2
    walk = np.cumsum(rng.normal(0, SCATTER_MM * MELT_MM**0.5, knots))
    wandered: Array = np.diff(np.interp(fed_mm, np.arange(knots) * MELT_MM, walk))
    return wandered


def _true_mm(ends_mm: Array, motion: MotionErrors, truth: Truth) -> Array:
    """Where the nozzle truly was, (n, 3), before any shrinking."""
    behind = ends_mm.copy()
    for column, axis in enumerate("XYZ"):
        slack_mm = truth.reversal_mm.get(axis, 0.0)
        if slack_mm:
            behind[:, column] = _dragged(ends_mm[:, column], slack_mm / 2)
    true = motion.places_mm(behind)
    for column, axis in enumerate("XYZ"):
        turn_mm = SCREW_TURN_MM if axis == "Z" else BELT_TURN_MM
        phase = 2 * math.pi * true[:, column] / turn_mm + truth.periodic_phase[axis]
        true[:, column] += truth.periodic_mm[axis] * np.sin(phase)
    return true


def _dragged(motor_mm: Array, half_mm: float) -> Array:
    """A carriage that hangs in its slack: it stands until the slack is taken up, then follows."""
    at = motor_mm[0] if len(motor_mm) else 0.0
    found = []
    for here in motor_mm.tolist():
        if at < here - half_mm:
            at = here - half_mm
        elif at > here + half_mm:
            at = here + half_mm
        found.append(at)
    return np.array(found)


def _width_mm(section_mm2: Array, height_mm: Array) -> Array:
    """Width of a stadium of this section, or of a thread where there is less than a round one."""
    stadium = section_mm2 / height_mm + height_mm * (1 - math.pi / 4)
    thread = 2 * np.sqrt(section_mm2 / math.pi)
    full = section_mm2 >= math.pi / 4 * height_mm**2
    width: Array = np.where(full, stadium, thread)
    return width
