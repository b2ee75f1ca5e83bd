"""What is left of each span reading once the fit has explained what it can, in mm.

For whoever wants to see how well the readings agree; it decides nothing. Stands on the same fit
as `span`, with the same readings set aside.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from asleft.measure.instrument import Instrument
from asleft.measure.readings import SpanReading
from asleft.measure.span.design import Places, model
from asleft.measure.span.fit import fit_span


def span_residuals(
    readings: Sequence[SpanReading], *, instrument: Instrument, piece_temperature_u_k: float = 2.0
) -> tuple[float, ...]:
    """Each reading less what all that were kept say of its place.

    Args:
        readings: as for `solve_span`, mm.
        instrument: what read them.
        piece_temperature_u_k: doubt about the piece's temperature, K.

    Returns:
        One number a reading in their order, mm; also for those that the fit sets aside.

    Raises:
        InputError: no readings, or lengths that are impossible.
    """
    fit = fit_span(readings, instrument, piece_temperature_u_k)
    expected, _ = model(Places.of(readings), fit.theta)
    observed = np.array([r.reading_mm for r in readings], dtype=float)
    return tuple(float(v) for v in observed - expected)
