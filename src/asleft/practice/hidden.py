"""What the machine does wrong right now: the hidden truth against the settings in force.

Not for drawing the truth (`truth`) and not for what becomes of it in plastic (`piece`).
Stands on both and on the settings.
"""

from __future__ import annotations

from asleft.practice.motion import AXES
from asleft.practice.piece import MotionErrors, printed_scale
from asleft.practice.settings import Settings
from asleft.practice.truth import Truth


class Hidden:
    """The machine's errors with whatever is in force when asked.

    Args:
        truth: the hidden numbers.
        settings: as found; the true steps follow from them and the hidden errors.
    """

    def __init__(self, truth: Truth, settings: Settings) -> None:
        self._truth, self._settings = truth, settings
        found = settings.in_force["M92"]
        self.true_steps_per_mm = {a: found[a] / (1 + truth.step_error[a]) for a in AXES}
        self.as_found = self.errors()

    def scale(self) -> dict[str, float]:
        """Steps in force over true steps, minus 1, for X, Y, Z, E."""
        steps = self._settings.in_force["M92"]
        return {a: steps[a] / self.true_steps_per_mm[a] - 1 for a in AXES}

    def errors(self, flow_percent: float = 100.0) -> MotionErrors:
        """What would shape a piece printed now.

        The controller moves X to x - k·y, so an active factor k takes k(1 + s_x)/(1 + s_y) off
        the shear.
        """
        scale = self.scale()
        factor = self._settings.in_force["M852"]["I"]
        shear = self._truth.shear - factor * (1 + scale["X"]) / (1 + scale["Y"])
        return MotionErrors(scale, shear, (1 + scale["E"]) * flow_percent / 100)

    def told(self, errors: MotionErrors) -> dict[str, float]:
        """Relative errors: X Y Z of the printed size, E of the feed; shear in rad."""
        return {
            **printed_scale(errors.scale, self._truth.shrinkage),
            "E": errors.scale["E"],
            "shear_xy": errors.shear,
        }
