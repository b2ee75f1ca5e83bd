"""What the practice machine hides: its errors, drawn once from a seed.

Sizes are those of a machine out of the box as we take them (all spreads are rms and ours, no
source), plus effects that no solver models. Not for what a person does: that is `person.py`.
Stands on a numpy Generator passed in.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace

import numpy as np

E_WITHIN = 0.07
"""An extruder lies anywhere within this: a worn or exchanged gear is no small error (ours)."""


@dataclass(frozen=True)
class Truth:
    """Hidden numbers of one machine with one spool.

    `step_error` is steps in force as found over true steps, minus 1, per axis. Lengths in mm,
    angles in rad, rates in mm/min. The last block is what no solver models.
    """

    step_error: dict[str, float]
    shear: float
    skew_found: float
    growth_mm: float
    first_layer_mm: float
    shrinkage: dict[str, float]
    reversal_mm: dict[str, float]
    slip_onset_mm_min: float
    slip_steepness: float

    corner_bulge_mm: float
    jaw_bend_mm: float
    jaw_tilt_mm: float
    periodic_mm: dict[str, float]
    periodic_phase: dict[str, float]
    face_scatter_mm: float
    drift_mm: float

    def to_dict(self) -> dict[str, object]:
        """All hidden numbers as JSON values."""
        return asdict(self)


def draw_truth(rng: np.random.Generator) -> Truth:
    """Draw one machine.

    Shrinkage is -0.3 % with 0.2 % between machines, and nearly alike on the axes.
    """
    axes = ("X", "Y", "Z")
    steps = {axis: float(rng.normal(0, 0.004)) for axis in axes}
    steps["E"] = float(rng.uniform(-E_WITHIN, E_WITHIN))
    shrinkage = float(np.clip(rng.normal(-0.003, 0.002), -0.009, 0.002))
    # One machine in four already holds a skew factor that somebody once typed in.
    skew = float(rng.normal(0, 0.001)) if rng.random() < 0.25 else 0.0
    return Truth(
        step_error=steps,
        shear=float(rng.normal(0, 0.002)),
        skew_found=round(skew, 4),
        growth_mm=float(rng.normal(0.10, 0.08)),
        first_layer_mm=float(rng.normal(0, 0.08)),
        shrinkage={axis: shrinkage + float(rng.normal(0, 0.0002)) for axis in axes},
        reversal_mm={axis: abs(float(rng.normal(0, 0.03))) for axis in ("X", "Y")},
        slip_onset_mm_min=float(np.clip(rng.normal(320, 60), 200, 480)),
        slip_steepness=float(rng.uniform(0.15, 0.4)),
        corner_bulge_mm=abs(float(rng.normal(0, 0.05))),
        jaw_bend_mm=float(rng.uniform(0.01, 0.05)),
        jaw_tilt_mm=0.02,
        periodic_mm={axis: float(rng.normal(0, 0.015)) * 2**0.5 for axis in axes},
        periodic_phase={axis: float(rng.uniform(0, 2 * np.pi)) for axis in axes},
        face_scatter_mm=0.02,
        drift_mm=float(rng.normal(0, 0.015)),
    )


def with_tools(truth: Truth, tools: int, rng: np.random.Generator) -> Truth:
    """The same machine with further extruders, `E1` and so on, each with an error of its own."""
    further = {f"E{n}": float(rng.uniform(-E_WITHIN, E_WITHIN)) for n in range(1, tools)}
    return replace(truth, step_error={**truth.step_error, **further})
