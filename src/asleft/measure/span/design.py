"""The span model as a design matrix: which parameters there are, and what a reading feels of each.

Model: y = λ·L + f·(g ± a) + z_f + c·L + b (heights off the bed) + type-B inputs. Pure algebra
on arrays of places; nothing is estimated here. λ is of the printed map, so printed scale
stands for (1+s)(1+h) − 1. Stands on `instrument` and `readings`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from asleft.measure.instrument import Instrument
from asleft.measure.linear import Array, Mask

GROWTH_SD_MM = 0.25
GROWTH_DIFFERENCE_SD_MM = 0.05
FIRST_LAYER_SD_MM = 0.25
MAP_SD = 0.05  # scale and shear: so wide that it only keeps what nobody measured finite
EXPANSION_PER_K = 70e-6  # common plastics; from memory
JAW_FORCE_SD_MM = 0.03  # light, equal force bends posts; it cannot be told from growth

AXES = ("X", "Y", "Z")
PLANES = ("XY", "XZ", "YZ")
MAP = ("scale_X", "scale_Y", "scale_Z", "shear_XY", "shear_XZ", "shear_YZ")
PARAMETERS = (
    *MAP,
    "growth",
    "growth_difference",
    "zero_outside",
    "zero_inside",
    "zero_same",
    "caliper_scale",
    "first_layer",
    "piece_temperature",
    "jaw_force",
)
WORDS = {
    "growth": "growth, before any reading",
    "growth_difference": "growth differing between X and Y",
    "zero_outside": "zero of the outside jaws",
    "zero_inside": "zero of the inside jaws",
    "zero_same": "zero of the depth rod or step",
    "caliper_scale": "scale of the caliper",
    "first_layer": "first layer, before any reading",
    "piece_temperature": "temperature of the piece",
    "jaw_force": "posts bending under the jaws",
}
_ROOT_HALF = math.sqrt(0.5)


class Measurable(Protocol):
    """A place or a reading: where the jaws go. Lengths in mm."""

    @property
    def direction(self) -> str:
        """One of the directions of a readings file."""
        ...

    @property
    def faces(self) -> str:
        """`outside`, `inside` or `same`."""
        ...

    @property
    def nominal_mm(self) -> float:
        """Drawn distance between the two faces."""
        ...


def unit_direction(direction: str) -> tuple[float, float, float]:
    """Unit vector of a direction: `X`, or a diagonal such as `XY+` or `XY-`."""
    n = [0.0, 0.0, 0.0]
    if len(direction) == 1:
        n[AXES.index(direction)] = 1.0
    else:
        n[AXES.index(direction[0])] = _ROOT_HALF
        n[AXES.index(direction[1])] = _ROOT_HALF if direction[2] == "+" else -_ROOT_HALF
    return n[0], n[1], n[2]


@dataclass(frozen=True)
class Places:
    """Places as arrays of length n: unit directions (n, 3), faces, drawn sizes in mm."""

    direction: Array
    sign: Array
    nominal_mm: Array
    zero: Array  # (n, 3): which of outside, inside, same
    is_z: Mask
    from_bed: Array

    @classmethod
    def of(cls, rows: Sequence[Measurable]) -> Places:
        """Arrays from places or readings, in their order."""
        units = {d: unit_direction(d) for d in {r.direction for r in rows}}
        kinds = ("outside", "inside", "same")
        which = np.array([kinds.index(r.faces) for r in rows])
        is_z = np.array([r.direction == "Z" for r in rows])
        return cls(
            direction=np.array([units[r.direction] for r in rows]).reshape(-1, 3),
            sign=np.array([1.0, -1.0, 0.0])[which],
            nominal_mm=np.array([r.nominal_mm for r in rows], dtype=float),
            zero=np.eye(3)[which],
            is_z=is_z,
            from_bed=(is_z & (which == 0)).astype(float),
        )

    def take(self, index: NDArray[np.intp]) -> Places:
        """The places at `index`, in that order."""
        return Places(*(getattr(self, name)[index] for name in self.__dataclass_fields__))


def printed_map(theta: Array) -> Array:
    """The 3 by 3 map from drawn to printed, from the first six parameters (scales, shears)."""
    sx, sy, sz, xy, xz, yz = theta[:6]
    return np.array(
        [
            [1 + sx, xy * (1 + sy), xz * (1 + sz)],
            [0.0, 1 + sy, yz * (1 + sz)],
            [0.0, 0.0, 1 + sz],
        ]
    )


def model(places: Places, theta: Array, settings: Array | None = None) -> tuple[Array, Array]:
    """Predicted readings and their derivatives.

    Args:
        places: n places.
        theta: (15,) all parameters, in the order of `PARAMETERS`.
        settings: 3 by 3 map that a change of settings puts before the printed map, or None.

    Returns:
        (n,) readings in mm and (n, 15) derivatives.
    """
    v = places.direction if settings is None else places.direction @ settings.T
    w = v @ printed_map(theta).T
    stretch = np.sqrt(np.einsum("ij,ij->i", w, w))
    _, sy, sz, xy, xz, yz = theta[:6]
    outer = w[:, :, None] * v[:, None, :] / stretch[:, None, None]
    length = places.nominal_mm
    columns = np.empty((length.size, len(PARAMETERS)))
    columns[:, 0] = outer[:, 0, 0]
    columns[:, 1] = outer[:, 0, 1] * xy + outer[:, 1, 1]
    columns[:, 2] = outer[:, 0, 2] * xz + outer[:, 1, 2] * yz + outer[:, 2, 2]
    columns[:, 3] = outer[:, 0, 1] * (1 + sy)
    columns[:, 4] = outer[:, 0, 2] * (1 + sz)
    columns[:, 5] = outer[:, 1, 2] * (1 + sz)
    columns[:, :6] *= length[:, None]
    columns[:, 6:] = _constants(places)
    return stretch * length + columns[:, 6:] @ theta[6:], columns


def _constants(places: Places) -> Array:
    """Derivatives that do not depend on the estimate, (n, 9)."""
    x, y = places.direction[:, 0] ** 2, places.direction[:, 1] ** 2
    # A face that leans out of the plane grows along its normal by the in-plane share only.
    growth = places.sign * np.sqrt(x + y)
    # On flats of 45° the X and Y halves of the difference cancel.
    difference = places.sign * (x - y) / np.maximum(np.sqrt(x + y), 1e-9)
    length = places.nominal_mm
    return np.column_stack(
        [growth, difference, places.zero, length, places.from_bed, length, growth]
    )


def prior_sds(instrument: Instrument, piece_temperature_u_k: float) -> Array:
    """Standard uncertainties of all parameters before any reading, (15,)."""
    zero = instrument.zero_sd_mm
    rest = {
        "growth": GROWTH_SD_MM,
        "growth_difference": GROWTH_DIFFERENCE_SD_MM,
        "zero_outside": instrument.outside_zero_sd_mm,
        "zero_inside": zero,
        "zero_same": zero,
        "caliper_scale": instrument.scale_sd,
        "first_layer": FIRST_LAYER_SD_MM,
        "piece_temperature": EXPANSION_PER_K * piece_temperature_u_k,
        "jaw_force": JAW_FORCE_SD_MM,
    }
    return np.array([rest.get(name, MAP_SD) for name in PARAMETERS])
