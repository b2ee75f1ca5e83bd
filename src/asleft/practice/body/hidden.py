"""What the machine does wrong right now: the hidden truth against the settings in force.

Not for drawing the truth (`truth`, and each drive its own) and not for what becomes of it in
plastic (`piece`). Stands on the drive's map and on the settings.
"""

from __future__ import annotations

from copy import deepcopy

from asleft.practice.body.drives import Drive, Point, plane_errors
from asleft.practice.body.piece import MotionErrors, printed_scale
from asleft.practice.body.truth import Truth
from asleft.practice.words.settings import Settings

FIRST_HEIGHT_MM = 0.2


class Hidden:
    """The machine's errors with whatever is in force when asked.

    Args:
        truth: the hidden numbers.
        settings: as found; the true steps of the extruders follow from them.
        drive: where a place that is sent to truly lies.
        middle_mm: of the bed.
    """

    def __init__(
        self, truth: Truth, settings: Settings, drive: Drive, middle_mm: tuple[float, float]
    ) -> None:
        self._truth, self._settings, self._drive = truth, settings, drive
        self._middle: Point = (*middle_mm, FIRST_HEIGHT_MM)
        found = settings.in_force["M92"]
        self.true_steps_per_mm = dict(drive.true_steps_per_mm)
        for tool in settings.tools:
            self.true_steps_per_mm[tool] = found[tool] / (1 + truth.step_error[tool])
        self.as_found = self.errors()

    def reached(self, at: Point) -> Point:
        """Where the carriage truly is when it is sent to a place, mm."""
        return self._drive.reached(self._settings.in_force, at)

    def fed_ratio(self, tool: str = "E") -> float:
        """True length of filament over commanded."""
        return self._settings.in_force["M92"][tool] / self.true_steps_per_mm[tool]

    def errors(self, flow_percent: float = 100.0) -> MotionErrors:
        """What would shape a piece printed now in the middle of the bed."""
        scale, shear = plane_errors(self._drive, self._settings.in_force, self._middle)
        scale["E"] = self.fed_ratio() - 1
        held = deepcopy(self._settings.in_force)  # what is changed later does not bend this piece
        curved = (lambda at: self._drive.reached(held, at)) if self._drive.curved else None
        return MotionErrors(scale, shear, self.fed_ratio() * flow_percent / 100, curved)

    def told(self, errors: MotionErrors) -> dict[str, float]:
        """Relative errors: X Y Z of the printed size, E of the feed; shear in rad."""
        return {
            **printed_scale(errors.scale, self._truth.shrinkage),
            "E": errors.scale["E"],
            "shear_xy": errors.shear,
        }
