"""What new steps per mm and new arms do to the motion of each kind of drive.

One 3 by 3 map: where the machine goes with the new settings, as a place that the old ones would
have called so. Not for skew, which the controller takes off before. Stands on `arms`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from asleft.measure.linear import Array
from asleft.measure.span.arms import REACH_MM, Arms
from asleft.measure.span.design import AXES


@dataclass(frozen=True)
class DriveChange:
    """A drive, and arm length `L` and radius `R` of a delta before and after, mm."""

    drive: str = "cartesian"
    arms_before: Mapping[str, float] | None = None
    arms_after: Mapping[str, float] | None = None
    reach_mm: float = REACH_MM

    def motion(self, steps_before: Mapping[str, float], steps_after: Mapping[str, float]) -> Array:
        """The map (3, 3) that new settings put before the old motion.

        Args:
            steps_before, steps_after: steps per mm by axis; one missing in either is unchanged.
        """
        x, y, z = (
            steps_after[a] / steps_before[a] if a in steps_before and a in steps_after else 1.0
            for a in AXES
        )
        stretch = np.diag([x, y, z])
        if self.drive == "crossed-belt":
            # One motor takes x + y, the other x - y, so that each moves both axes by half.
            stretch[:2, :2] = [[(x + y) / 2, (x - y) / 2], [(x - y) / 2, (x + y) / 2]]
        before, after = Arms.of(self.arms_before), Arms.of(self.arms_after)
        if self.drive == "delta" and before is not None and after is not None:
            stretch[:2, :2] *= before.stretch_to(after, self.reach_mm)
        return stretch
